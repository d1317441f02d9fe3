// Package table makes figures of the rows that element and isotope instruments export:
// replicates with their spread, correction of drift between two drift standards, and
// two-point normalisation of δ values. A missing reading is NaN; it is counted and
// takes no part, and a figure that would need it is refused.
package table

import (
	"errors"
	"fmt"
	"math"
)

// Kinds of faults, for errors.Is.
var (
	// ErrMissing: a number that is needed is missing or not finite.
	ErrMissing = errors.New("a number is missing")
	// ErrUndefined: the arithmetic has no result, such as a division by zero.
	ErrUndefined = errors.New("not defined")
	// ErrOutside: a position is not between the two that are to bracket it.
	ErrOutside = errors.New("not bracketed")
	// ErrAnchors: two anchors that do not make a scale.
	ErrAnchors = errors.New("unusable anchors")
)

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// Replicates is the summary of repeated readings. Mean is NaN without readings, SD with fewer
// than two, RSD also where the mean is not above zero.
type Replicates struct {
	N       int     // readings
	Missing int     // readings that are not there
	Mean    float64 // arithmetic mean
	SD      float64 // standard deviation, n - 1
	RSD     float64 // relative standard deviation in per cent of the mean
}

// Summarise gives mean and spread of repeated readings, in two passes: mean, then the
// squares about it, with what rounding left over in the mean taken off
// (T. F. Chan, G. H. Golub and R. J. LeVeque, Am. Stat. 1983, 37, 242).
func Summarise(readings []float64) Replicates {
	r := Replicates{Mean: math.NaN(), SD: math.NaN(), RSD: math.NaN()}
	present := make([]float64, 0, len(readings))
	for _, v := range readings {
		if !finite(v) {
			r.Missing++
			continue
		}
		present = append(present, v)
	}
	r.N = len(present)
	if r.N == 0 {
		return r
	}
	n := float64(r.N)
	// Sums of the distances from one reading, which are exact for near equal readings.
	var sum float64
	for _, v := range present {
		sum += v - present[0]
	}
	r.Mean = present[0] + sum/n
	if r.N < 2 {
		return r
	}
	var squares, rest float64
	for _, v := range present {
		d := v - r.Mean
		squares += d * d
		rest += d
	}
	r.SD = math.Sqrt(max(0, squares-rest*rest/n) / (n - 1))
	if r.Mean > 0 {
		r.RSD = 100 * r.SD / r.Mean
	}
	return r
}

func missing(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrMissing}, args...)...)
}

func undefined(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrUndefined}, args...)...)
}
