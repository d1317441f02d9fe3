package qc

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"underbond/qc/calibration"
	"underbond/qc/method"
)

// models are the fits behind the models of the method document.
var models = map[string]calibration.Model{
	method.ModelAverageFactor: calibration.ModelAverageRF,
	method.ModelStraightLine:  calibration.ModelLinear,
	method.ModelThroughOrigin: calibration.ModelThroughZero,
	method.ModelQuadratic:     calibration.ModelQuadratic,
	method.ModelPointToPoint:  calibration.ModelPointToPoint,
}

// fitPoints fits the function that the method asks for to the curve's points.
func (c *curve) fitPoints(k *method.Calibration) error {
	points := calibration.Points{X: make([]float64, len(c.points)), Y: make([]float64, len(c.points))}
	for i, p := range c.points {
		points.X[i], points.Y[i] = levelOf(c.levels, p.Amount), p.Response
	}
	if len(c.levels) > 1 && slices.Min(points.Y) == slices.Max(points.Y) {
		return fmt.Errorf("%w: all responses are %s", calibration.ErrFlat, words(points.Y[0]))
	}
	if k.Weighting == method.WeightInverseS2 {
		s, err := replicateDeviations(points, c.levels)
		if err != nil {
			return err
		}
		points.S = s
	}
	fit, err := calibration.Fit(points, models[k.Model], k.Weighting)
	var at *calibration.PointError
	switch {
	case errors.As(err, &at):
		return fmt.Errorf("the calibration standard at position %d: %w", c.points[at.Index].Position, at.Err)
	case err != nil:
		return err
	}
	c.fit = fit
	return nil
}

// levelOf gives the level that an amount belongs to. Amounts of one level differ by
// rounding only, and must not count as two.
func levelOf(levels []float64, amount float64) float64 {
	level := amount
	for _, l := range levels {
		if l <= amount {
			level = l
		}
	}
	return level
}

// replicateDeviations gives each point the standard deviation of the replicates of its
// level, for weights 1/s².
func replicateDeviations(points calibration.Points, levels []float64) ([]float64, error) {
	s := make([]float64, len(points.X))
	for _, level := range levels {
		n, mean, sum := 0, 0.0, 0.0
		for i, x := range points.X {
			if x == level {
				n++
				mean += points.Y[i]
			}
		}
		if n < 2 {
			return nil, fmt.Errorf("the weighting %s needs replicates of each level, and the level %s has one calibration standard", method.WeightInverseS2, words(level))
		}
		mean /= float64(n)
		for i, x := range points.X {
			if x == level {
				sum += (points.Y[i] - mean) * (points.Y[i] - mean)
			}
		}
		for i, x := range points.X {
			if x == level {
				s[i] = math.Sqrt(sum / float64(n-1))
			}
		}
	}
	return s, nil
}

// fitFaults says what makes amounts read from a fitted function worthless, whatever the method accepts.
func (c *curve) fitFaults() []string {
	var why []string
	c.rises = c.fit.Monotonic && c.at(c.fit.Range[1]) > c.at(c.fit.Range[0])
	straight := c.fit.Model != calibration.ModelQuadratic && c.fit.Model != calibration.ModelPointToPoint
	if straight { // one level is enough for a line through the origin
		c.rises = c.slope() > 0
	}
	switch {
	case !c.rises && straight:
		why = append(why, fmt.Sprintf("the slope is %s, not above zero", words(c.slope())))
	case !c.rises:
		why = append(why, "the function does not rise throughout its range")
	}
	if c.fit.Model != calibration.ModelPointToPoint && c.fit.DF < 1 {
		why = append(why, fmt.Sprintf("%d calibration standards leave no degree of freedom to judge the function by", len(c.points)))
	}
	return why
}

// slope of a line.
func (c *curve) slope() float64 { return c.fit.Coefficients[len(c.fit.Coefficients)-1] }

// at gives the response at an amount, NaN where there is none.
func (c *curve) at(amount float64) float64 {
	response, err := c.fit.Response(amount)
	if err != nil {
		return math.NaN()
	}
	return response
}

// setRange takes the method's range, else that of the calibrants above zero. Beyond the
// calibrants a curved function says nothing, so its range ends with them.
func (c *curve) setRange(a *method.Analyte) {
	c.low, c.high = a.Calibration.RangeLow, a.Calibration.RangeHigh
	lowest, top := c.levels[0], c.levels[len(c.levels)-1]
	curved := a.Calibration.Model == method.ModelQuadratic || a.Calibration.Model == method.ModelPointToPoint
	if c.low == nil {
		if level, ok := c.lowestLevel(); ok {
			c.low = &level
		}
	} else if curved && *c.low < lowest {
		c.low = &lowest
	}
	if c.high == nil || curved && *c.high > top {
		c.high = &top
	}
}

// lowestLevel is the lowest amount above zero.
func (c *curve) lowestLevel() (level float64, ok bool) {
	for _, level := range c.levels {
		if level > 0 {
			return level, true
		}
	}
	return 0, false
}

// amount reads a response. above tells that the function does not reach it at its top.
//
// A response that the function does not reach at its bottom lies below the lowest level,
// where no number is ever reported: there the chord between the two lowest levels is
// extended, so that blanks and what is not detected can be compared with their limits.
func (c *curve) amount(response float64) (amount, standardError float64, above bool, err error) {
	amount, standardError, err = c.fit.Read(response, 1)
	if err == nil {
		return amount, standardError, false, nil
	}
	if !errors.Is(err, calibration.ErrNoRoot) {
		return 0, 0, false, err
	}
	x1, x2 := c.levels[0], c.levels[1]
	y1, y2 := c.at(x1), c.at(x2)
	switch {
	case response > c.at(c.fit.Range[1]):
		return 0, 0, true, nil
	case response < y1 && y2 > y1:
		return x1 - (y1-response)*((x2-x1)/(y2-y1)), math.NaN(), false, nil
	}
	return 0, 0, false, err
}
