// Package statistics summarises series of numbers without losing digits that a double
// can hold.
package statistics

import (
	"errors"
	"fmt"
	"math"
)

// Reasons why there is no figure.
var (
	// ErrTooFew: too few values for the figure.
	ErrTooFew = errors.New("too few values")
	// ErrNotFinite: a value is NaN or infinite, or a sum left the range of a double.
	ErrNotFinite = errors.New("not a finite number")
	// ErrConstant: all values are equal, so that a ratio to their scatter has no meaning.
	ErrConstant = errors.New("all values are equal")
)

// Mean gives the arithmetic mean, in the unit of the values. Errors: ErrTooFew, ErrNotFinite.
func Mean(values []float64) (float64, error) {
	m, err := center(values, 1)
	if err != nil {
		return 0, fmt.Errorf("mean: %w", err)
	}
	return m.high + m.low, nil
}

// StandardDeviation gives the standard deviation of a sample, sqrt(Σ (y - ȳ)²/(n - 1)),
// in the unit of the values. Errors: ErrTooFew (below two), ErrNotFinite.
func StandardDeviation(values []float64) (float64, error) {
	m, err := center(values, 2)
	if err != nil {
		return 0, fmt.Errorf("standard deviation: %w", err)
	}
	return math.Sqrt(m.squares(values) / float64(len(values)-1)), nil
}

// Autocorrelation gives the lag-1 autocorrelation Σ (y_i - ȳ)(y_i+1 - ȳ) / Σ (y_i - ȳ)²,
// as the NIST Statistical Reference Datasets define it.
// Errors: ErrTooFew (below two), ErrNotFinite, ErrConstant.
func Autocorrelation(values []float64) (float64, error) {
	m, err := center(values, 2)
	if err != nil {
		return 0, fmt.Errorf("autocorrelation: %w", err)
	}
	squares := m.squares(values)
	if squares == 0 {
		return 0, fmt.Errorf("autocorrelation: %w", ErrConstant)
	}
	var products sum
	for i := 1; i < len(values); i++ {
		products.addProduct(m.about(values[i-1]), m.about(values[i]))
	}
	return products.value() / squares, nil
}

// sum is a sum kept in about twice the precision of a double: Ogita, Rump & Oishi, SIAM
// J. Sci. Comput. 26 (2005) 1955.
type sum struct{ high, low float64 }

func (s *sum) add(v float64) {
	total := s.high + v
	part := total - s.high
	s.low += (s.high - (total - part)) + (v - part)
	s.high = total
}

func (s *sum) addProduct(a, b float64) {
	product := a * b
	s.low += math.FMA(a, b, -product)
	s.add(product)
}

func (s *sum) value() float64 { return s.high + s.low }

// middle is a mean in two parts, so that deviations from it keep their digits.
type middle struct{ high, low float64 }

func center(values []float64, least int) (middle, error) {
	if len(values) < least {
		return middle{}, fmt.Errorf("%w: %d, needed are %d", ErrTooFew, len(values), least)
	}
	var total sum
	for _, v := range values {
		total.add(v)
	}
	n := float64(len(values))
	m := middle{high: total.value() / n}
	var rest sum
	for _, v := range values {
		rest.add(v)
		rest.add(-m.high)
	}
	m.low = rest.value() / n
	if sum := m.high + m.low; math.IsNaN(sum) || math.IsInf(sum, 0) {
		return middle{}, ErrNotFinite
	}
	return m, nil
}

func (m middle) about(v float64) float64 { return v - m.high - m.low }

func (m middle) squares(values []float64) float64 {
	var squares sum
	for _, v := range values {
		d := m.about(v)
		squares.addProduct(d, d)
	}
	return squares.value()
}
