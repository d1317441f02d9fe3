package calibration

import (
	"fmt"
	"math"
	"slices"
)

// Prediction is an amount read from the function, with its uncertainty from the
// scatter of the calibration and of the readings. StandardError and the limits are NaN
// where no degree of freedom or no weight for the reading is left.
type Prediction struct {
	Y          float64 // mean response of the readings
	Replicates int
	X          float64
	// StandardError of X, and the limits of its two-sided confidence interval.
	StandardError, Low, High float64
}

// Read reads the amount x0 from the mean response y0 of m readings, and its standard
// error by the delta method on the inverse function:
//
//	s(x0)² = (s²/(m·w0) + vᵀ Cov v) / f'(x0)²
//
// where v holds the derivatives of f(x0) by the coefficients and w0 is the weight of a
// reading there. For a straight line this is the expression of Miller & Miller,
// Statistics and Chemometrics for Analytical Chemistry, sections 5.6 and 5.10:
// (s/b)² (1/(m·w0) + 1/n + (y0 - ȳ)²/(b² Sxx)). It is an approximation that holds while
// the slope is well known. The standard error is NaN where no degree of freedom or no
// weight for the reading is left.
//
// The weight w0 of 1/x and 1/x² is that of x0, of 1/y that of y0, of 1/s² that of the
// standard deviation interpolated linearly between the neighbouring levels.
//
// Errors: those of Amount, ErrReplicates, ErrNotForModel (standard addition, whose amount
// is the x intercept).
func (c *Curve) Read(response float64, m int) (amount, standardError float64, err error) {
	if m < 1 {
		return 0, 0, fmt.Errorf("amount at response %v: %w: %d", response, ErrReplicates, m)
	}
	if c.Model == ModelStandardAddition {
		return 0, 0, fmt.Errorf("%w: the amount of %s is its x intercept", ErrNotForModel, c.Model)
	}
	amount, err = c.Amount(response)
	if err != nil {
		return 0, 0, err
	}
	if c.segments != nil || c.DF < 1 {
		return amount, math.NaN(), nil
	}
	raw, err := c.rawWeightAt(amount, response)
	if err != nil {
		return amount, math.NaN(), nil // nothing is known of the scatter of a reading there
	}
	reading := c.ResidualSD * c.ResidualSD * c.meanRaw / (float64(m) * raw)
	standardError = math.Sqrt(reading+c.variance(amount)) / math.Abs(c.slope(amount))
	if !finite(standardError) { // at a turning point
		standardError = math.NaN()
	}
	return amount, standardError, nil
}

// Predict is Read with the two-sided confidence interval x0 ± t(DF) s(x0), whose limits are
// NaN where the standard error is.
//
// Errors: those of Read, ErrConfidence.
func (c *Curve) Predict(response float64, m int, confidence float64) (*Prediction, error) {
	if !(confidence > 0 && confidence < 1) {
		return nil, fmt.Errorf("%w: %v", ErrConfidence, confidence)
	}
	amount, standardError, err := c.Read(response, m)
	if err != nil {
		return nil, err
	}
	half := c.HalfWidth(standardError, confidence)
	return &Prediction{Y: response, Replicates: m, X: amount, StandardError: standardError, Low: amount - half, High: amount + half}, nil
}

// variance of the fitted response at an amount.
func (c *Curve) variance(amount float64) float64 {
	v := c.basis.row(amount)
	var sum float64
	for k := range v {
		var part doubled
		for j := range v {
			part.addProduct(v[j], c.solution.root[j][k])
		}
		sum += part.value() * part.value()
	}
	return c.ResidualSD * c.ResidualSD * sum
}

// HalfWidth gives the half width of the two-sided confidence interval of a figure with
// this standard error: Student's t for DF degrees of freedom, times the standard
// error. NaN when no degree of freedom is left.
func (c *Curve) HalfWidth(standardError, confidence float64) float64 {
	if c.DF < 1 {
		return math.NaN()
	}
	return studentsT(1-(1-confidence)/2, c.DF) * standardError
}

// rawWeightAt gives the raw weight of a reading.
func (c *Curve) rawWeightAt(amount, response float64) (float64, error) {
	switch c.Weight {
	case WeightInverseY:
		return inverse(response, "response")
	case WeightInverseS2:
		s := deviationAt(c.deviance, amount)
		return 1 / (s * s), nil
	}
	return rawWeight(amount, c.Weight)
}

// deviation is the standard deviation of a response at a level.
type deviation struct{ x, s float64 }

// deviations gives the root mean square of the standard deviations at each level of
// points that are sorted by amount.
func deviations(p Points) []deviation {
	var out []deviation
	for i := 0; i < len(p.X); {
		sum, k := 0.0, i
		for ; k < len(p.X) && p.X[k] == p.X[i]; k++ {
			sum += p.S[k] * p.S[k]
		}
		out = append(out, deviation{p.X[i], math.Sqrt(sum / float64(k-i))})
		i = k
	}
	return out
}

// deviationAt interpolates linearly and keeps the end values outside.
func deviationAt(levels []deviation, x float64) float64 {
	i, found := slices.BinarySearchFunc(levels, x, func(d deviation, x float64) int {
		switch {
		case d.x < x:
			return -1
		case d.x > x:
			return 1
		}
		return 0
	})
	switch {
	case found:
		return levels[i].s
	case i == 0:
		return levels[0].s
	case i == len(levels):
		return levels[i-1].s
	}
	return between(levels[i-1].x, levels[i-1].s, levels[i].x, levels[i].s, x)
}
