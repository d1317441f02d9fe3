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
	// ErrTooFew: fewer points than what was asked for needs.
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

// rawWeight gives the weight of an amount before scaling.
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

func mean(values []float64) float64 {
	var sum float64
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}
