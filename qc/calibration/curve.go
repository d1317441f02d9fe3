package calibration

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Curve is a fitted calibration function with its diagnostics. Figures that are not
// defined for the model or the points are NaN, or nil where they are lists.
type Curve struct {
	Model  Model
	Weight string
	// N points at Levels different amounts, DF = N minus the number of coefficients.
	N, Levels, DF int
	// Range holds the least and the greatest amount.
	Range [2]float64
	// Coefficients, lowest power of the amount first; that of a line through the origin
	// is its slope alone, and point-to-point has none. Standard errors and covariance likewise.
	Coefficients   []float64
	StandardErrors []float64
	Covariance     [][]float64
	// ResidualSD is the standard deviation about the function, sqrt(Σ w (y - ŷ)² / DF)
	// with weights of mean 1, in response units: s(y/x) of Miller & Miller, section 5.10.
	ResidualSD float64
	// RSquared is 1 - RSS/TSS; without intercept TSS is about zero. Draper & Smith,
	// Applied Regression Analysis, has the adjusted form.
	RSquared, AdjustedRSquared float64
	// RSEPercent is the relative standard error of the back-calculated amounts.
	RSEPercent float64
	// RSDPercent is the relative standard deviation of the response factors; average-rf only.
	RSDPercent float64
	// Mandel judges a straight line against the quadratic, PureError the model against
	// the scatter of replicates. Nil where they do not apply.
	Mandel, PureError *FTest
	// Monotonic tells that the function only rises or only falls over Range.
	Monotonic bool
	// Points are the points, in the order in which they were given.
	Points []PointFigures
	// Exclusions are suggested only: to leave a point out needs a named person and an
	// assignable cause.
	Exclusions []Exclusion
	// Warnings say what limits the use of the fit.
	Warnings []string

	basis    basis
	function poly // of u
	solution *Solution
	segments *segments
	meanRaw  float64
	deviance []deviation // standard deviations of the responses at the levels
}

// PointFigures say how the function meets one point.
type PointFigures struct {
	X, Y, Fitted float64
	// BackCalculated is the amount that the function gives for Y, AccuracyPercent
	// 100 · BackCalculated / X.
	BackCalculated, AccuracyPercent float64
	// Leverage is the share of the point in its own fitted value, 0 to 1.
	Leverage float64
	// Weight has mean 1 over all points.
	Weight float64
}

// Fit fits a calibration function by least squares. weight is one of the weightings
// (empty: none); weights are scaled to mean 1. The model average-rf has the weights
// 1/x² by definition and takes no others; point-to-point takes none.
//
// The points are brought into a fixed order first, so that their order has no
// influence on any digit.
//
// Errors: ErrLengths, ErrNotFinite, ErrTooFew and ErrSingular (fewer points or levels
// than coefficients), ErrModel, ErrWeighting, ErrNoWeight, the last within a *PointError.
func Fit(points Points, model Model, weight string) (*Curve, error) {
	c, err := fit(points, model, weight)
	if err != nil {
		return nil, fmt.Errorf("fit %s: %w", model, err)
	}
	return c, nil
}

func fit(points Points, model Model, weight string) (*Curve, error) {
	if _, err := ParseModel(string(model)); err != nil {
		return nil, err
	}
	if err := points.check(); err != nil {
		return nil, err
	}
	if len(points.X) == 0 {
		return nil, fmt.Errorf("%w: none", ErrTooFew)
	}
	if weight == "" {
		weight = WeightNone
	}
	given := weight
	if model == ModelAverageRF {
		weight = WeightInverseXSq
	}
	if model == ModelAverageRF && given != WeightNone && given != weight ||
		model == ModelPointToPoint && given != WeightNone {
		return nil, fmt.Errorf("%w: %s takes no weighting, not %q", ErrWeighting, model, given)
	}
	raw, err := points.rawWeights(weight)
	if err != nil {
		return nil, err
	}
	order := canonical(points)
	sorted, raw := points.in(order), pick(raw, order)
	c := &Curve{Model: model, Weight: weight, N: len(order), Levels: levelsOf(sorted.X), Range: [2]float64{sorted.X[0], sorted.X[len(order)-1]},
		RSquared: math.NaN(), AdjustedRSquared: math.NaN(), ResidualSD: math.NaN(), RSEPercent: math.NaN(), RSDPercent: math.NaN(), meanRaw: mean(raw)}
	if sorted.S != nil {
		c.deviance = deviations(sorted)
	}
	if model == ModelPointToPoint {
		err = c.join(sorted)
	} else {
		err = c.regress(sorted, raw)
	}
	if err != nil {
		return nil, err
	}
	c.diagnose(sorted)
	inOrder := make([]PointFigures, c.N)
	for i, at := range order {
		inOrder[at] = c.Points[i]
	}
	c.Points = inOrder
	for i := range c.Exclusions {
		c.Exclusions[i].Index = order[c.Exclusions[i].Index]
	}
	return c, nil
}

// regress fits a polynomial.
func (c *Curve) regress(points Points, raw []float64) error {
	c.basis = newBasis(c.Model, points.X)
	count := len(c.basis.powers)
	if c.N < count {
		return fmt.Errorf("%w: %d for %d coefficients", ErrTooFew, c.N, count)
	}
	distinct := c.Levels
	if c.Model.throughZero() && slices.Contains(points.X, 0) {
		distinct-- // where x is zero the line through the origin is given
	}
	if distinct < count {
		return fmt.Errorf("%w: %d levels for %d coefficients", ErrSingular, distinct, count)
	}
	design := make([][]float64, c.N)
	for i, x := range points.X {
		design[i] = c.basis.row(x)
	}
	s, err := leastSquares(design, points.Y, raw, !c.Model.throughZero())
	if err != nil {
		return err
	}
	c.solution, c.DF, c.function = s, s.DF, c.basis.dense(s.Coefficients)
	c.Coefficients = c.basis.rawPowers(s.Coefficients)
	c.ResidualSD, c.RSquared, c.AdjustedRSquared = s.ResidualSD, s.RSquared, s.AdjustedRSquared
	root := make([][]float64, count)
	for j := range root {
		root[j] = make([]float64, count)
	}
	for k := range count { // column k of the root, turned to powers of x
		column := make([]float64, count)
		for j := range count {
			column[j] = s.root[j][k]
		}
		for j, v := range c.basis.rawPowers(column) {
			root[j][k] = v
		}
	}
	c.StandardErrors, c.Covariance = errorsOf(root, c.ResidualSD)
	if !finite(c.Coefficients...) {
		return fmt.Errorf("coefficients: %w", ErrNotFinite)
	}
	for i := range c.N {
		c.Points = append(c.Points, PointFigures{X: points.X[i], Y: points.Y[i], Fitted: s.Fitted[i], Leverage: s.Leverage[i], Weight: s.Weights[i]})
	}
	return nil
}

// canonical gives the order of points that does not depend on how they were given.
func canonical(p Points) []int {
	order := make([]int, len(p.X))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		by := cmp.Or(cmp.Compare(p.X[a], p.X[b]), cmp.Compare(p.Y[a], p.Y[b]))
		if by == 0 && p.S != nil {
			by = cmp.Compare(p.S[a], p.S[b])
		}
		return by
	})
	return order
}

func (p Points) in(order []int) Points {
	out := Points{X: pick(p.X, order), Y: pick(p.Y, order)}
	if p.S != nil {
		out.S = pick(p.S, order)
	}
	return out
}

func pick(values []float64, order []int) []float64 {
	out := make([]float64, len(order))
	for i, at := range order {
		out[i] = values[at]
	}
	return out
}

// levelsOf counts the different amounts, which are sorted.
func levelsOf(x []float64) int {
	n := 1
	for i := 1; i < len(x); i++ {
		if x[i] != x[i-1] {
			n++
		}
	}
	return n
}

// Response gives the response that the function has at an amount.
//
// Errors: ErrNotFinite; ErrOutside for point-to-point beyond its levels.
func (c *Curve) Response(amount float64) (float64, error) {
	var response float64
	if c.segments != nil {
		var err error
		if response, err = c.segments.response(amount); err != nil {
			return 0, fmt.Errorf("response at amount %v: %w", amount, err)
		}
	} else {
		response = c.function.at(c.basis.u(amount))
	}
	if !finite(amount, response) {
		return 0, fmt.Errorf("response at amount %v: %w", amount, ErrNotFinite)
	}
	return response, nil
}

// slope is the derivative at an amount, in response units per amount unit.
func (c *Curve) slope(amount float64) float64 {
	return c.function.derivative().at(c.basis.u(amount)) / c.basis.scale
}
