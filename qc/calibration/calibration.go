// Package calibration fits calibration functions, response as a function of amount, by
// least squares with or without weights; it judges the fit, reads amounts from
// responses with their uncertainty, and gives limits of detection and quantitation.
package calibration

import (
	"errors"
	"fmt"
	"math"
)

// Weightings of a fit. The texts are those of the method document.
const (
	WeightNone       = "none"
	WeightInverseX   = "1/x"
	WeightInverseXSq = "1/x²"
)

// Reasons why there is no fit or no answer from one.
var (
	// ErrLengths: x and y differ in length.
	ErrLengths = errors.New("amounts and responses differ in number")
	// ErrTooFew: fewer than three points, which leaves no degree of freedom to judge the line by.
	ErrTooFew = errors.New("too few points for a straight line")
	// ErrNotFinite: an amount or response is NaN or infinite, or the arithmetic left the range of a double.
	ErrNotFinite = errors.New("not a finite number")
	// ErrWeighting: the weighting is none of the known ones.
	ErrWeighting = errors.New("unknown weighting")
	// ErrNoWeight: 1/x and 1/x² need amounts above zero.
	ErrNoWeight = errors.New("no weight for an amount that is not above zero")
	// ErrOneLevel: all amounts are equal.
	ErrOneLevel = errors.New("all amounts are equal")
	// ErrFlat: the response does not change with the amount, so no amount can be read from it.
	ErrFlat = errors.New("the response does not change with the amount")
	// ErrReplicates: an inverse prediction needs at least one measurement of the response.
	ErrReplicates = errors.New("fewer than one measurement of the response")
	// ErrSingular: columns of the design depend on each other within the precision of a double,
	// such as a polynomial of higher degree than the levels allow.
	ErrSingular = errors.New("the points do not determine the coefficients")
	// ErrModel: the model is none of the known ones.
	ErrModel = errors.New("unknown model")
	// ErrNotForModel: the model does not go with what was asked of it.
	ErrNotForModel = errors.New("not to be had from this model")
	// ErrNoRoot: the calibration function reaches the response nowhere on its branch.
	ErrNoRoot = errors.New("the calibration function does not reach the response")
	// ErrAmbiguous: several amounts of the calibrated range have the response.
	ErrAmbiguous = errors.New("several amounts have the response")
	// ErrOutside: the amount lies outside the levels.
	ErrOutside = errors.New("outside the calibrated range")
	// ErrNoDF: no degree of freedom is left to estimate a standard deviation.
	ErrNoDF = errors.New("no degree of freedom")
	// ErrConfidence: a level of confidence lies between 0 and 1.
	ErrConfidence = errors.New("the level of confidence is not between 0 and 1")
)

// Line is a fitted straight line: response = Intercept + Slope · amount. Intercept,
// SEIntercept and ResidualSD are in response units, Slope and SESlope in response
// units per amount unit.
type Line struct {
	Intercept, Slope     float64
	SEIntercept, SESlope float64
	// ResidualSD is s(y/x), the standard deviation of the residuals about the line
	// (of the weighted residuals, with weights of mean 1).
	ResidualSD float64
	// R2 is 1 - RSS/TSS, both weighted, TSS about the weighted mean.
	R2 float64
	// N is the number of points and DF = N - 2 the degrees of freedom.
	N, DF int
	// Weight is the weighting fitted with.
	Weight string
	// Weights are those of the points, in their order, with mean 1.
	Weights []float64

	// For inverse prediction: mean raw weight, weighted mean response and weighted
	// sum of squares of the amounts about their weighted mean.
	meanRaw, meanY, sxx float64
}

// weights gives the raw weights of the amounts.
func weights(x []float64, weight string) ([]float64, error) {
	w := make([]float64, len(x))
	for i, xi := range x {
		var err error
		if w[i], err = rawWeight(xi, weight); err != nil {
			return nil, fmt.Errorf("weight point %d: %w", i+1, err)
		}
	}
	return w, nil
}

func rawWeight(x float64, weight string) (float64, error) {
	switch weight {
	case WeightNone, "":
		return 1, nil
	case WeightInverseX, WeightInverseXSq:
		if !(x > 0) {
			return 0, fmt.Errorf("%w: %s at amount %v", ErrNoWeight, weight, x)
		}
		if weight == WeightInverseX {
			return 1 / x, nil
		}
		return 1 / x / x, nil
	default:
		return 0, fmt.Errorf("%w: %q; known are %q, %q and %q", ErrWeighting, weight, WeightNone, WeightInverseX, WeightInverseXSq)
	}
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
