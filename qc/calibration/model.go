package calibration

import (
	"fmt"
	"strconv"
	"strings"
)

// Model is the form of a calibration function f: response = f(amount).
type Model string

// Models. A polynomial of degree N is "polynomial:N"; ParseModel checks it.
const (
	// ModelAverageRF: response = RF · amount, with RF the mean of the response factors
	// response/amount. It is the line through the origin with weights 1/x².
	ModelAverageRF Model = "average-rf"
	// ModelLinear: a straight line.
	ModelLinear Model = "linear"
	// ModelThroughZero: a straight line through the origin.
	ModelThroughZero Model = "linear-through-zero"
	// ModelQuadratic: a polynomial of degree 2.
	ModelQuadratic Model = "quadratic"
	// ModelStandardAddition: a straight line of response against the amount added.
	ModelStandardAddition Model = "standard-addition"
	// ModelPointToPoint: straight segments between the means of neighbouring levels.
	ModelPointToPoint Model = "point-to-point"

	polynomial = "polynomial:"
)

// maxDegree bounds polynomials: beyond it, calibration points cannot carry a fit.
const maxDegree = 20

// Polynomial gives the model of a polynomial of this degree.
func Polynomial(degree int) Model { return Model(polynomial + strconv.Itoa(degree)) }

// ParseModel reads the name of a model. Error: ErrModel.
func ParseModel(text string) (Model, error) {
	m := Model(text)
	if _, ok := m.degree(); !ok && m != ModelPointToPoint {
		return "", fmt.Errorf("%w: %q; known are %s, %s, %s, %s, %s, %s and %sN with N from 1 to %d", ErrModel, text, ModelAverageRF, ModelLinear,
			ModelThroughZero, ModelQuadratic, ModelStandardAddition, ModelPointToPoint, polynomial, maxDegree)
	}
	return m, nil
}

// degree is the highest power of the amount; ok tells that the model is a polynomial.
func (m Model) degree() (degree int, ok bool) {
	switch m {
	case ModelAverageRF, ModelThroughZero, ModelLinear, ModelStandardAddition:
		return 1, true
	case ModelQuadratic:
		return 2, true
	}
	text, ok := strings.CutPrefix(string(m), polynomial)
	degree, err := strconv.Atoi(text)
	return degree, ok && err == nil && degree >= 1 && degree <= maxDegree && text == strconv.Itoa(degree)
}

// throughZero tells that the function has no intercept.
func (m Model) throughZero() bool { return m == ModelAverageRF || m == ModelThroughZero }

// Further weightings, with weights from the responses or from their standard deviations.
const (
	WeightInverseY  = "1/y"
	WeightInverseS2 = "1/s²"
)

// Points are calibration points: amounts X, responses Y and, where known, the standard
// deviations S of the responses; S is nil when they are not.
type Points struct{ X, Y, S []float64 }

func (p Points) check() error {
	if len(p.X) != len(p.Y) || p.S != nil && len(p.S) != len(p.X) {
		return fmt.Errorf("%w: %d and %d, %d standard deviations", ErrLengths, len(p.X), len(p.Y), len(p.S))
	}
	for i := range p.X {
		if !finite(p.X[i], p.Y[i]) || p.S != nil && !finite(p.S[i]) {
			return fmt.Errorf("point %d (%v, %v): %w", i+1, p.X[i], p.Y[i], ErrNotFinite)
		}
	}
	return nil
}

// rawWeights gives the weights before scaling. Errors: *PointError, ErrNoWeight, ErrWeighting.
func (p Points) rawWeights(weight string) ([]float64, error) {
	raw := make([]float64, len(p.X))
	for i := range raw {
		var err error
		switch weight {
		case WeightInverseY:
			raw[i], err = inverse(p.Y[i], "response")
		case WeightInverseS2:
			if p.S == nil {
				return nil, fmt.Errorf("%w: %s needs standard deviations of the responses", ErrNoWeight, weight)
			}
			if raw[i], err = inverse(p.S[i], "standard deviation"); err == nil {
				raw[i] /= p.S[i]
			}
		case WeightNone, "", WeightInverseX, WeightInverseXSq:
			raw[i], err = rawWeight(p.X[i], weight)
		default:
			return nil, fmt.Errorf("%w: %q; known are %q, %q, %q, %q and %q", ErrWeighting, weight,
				WeightNone, WeightInverseX, WeightInverseXSq, WeightInverseY, WeightInverseS2)
		}
		if err == nil && !finite(raw[i]) {
			err = ErrNotFinite
		}
		if err != nil {
			return nil, &PointError{Index: i, Err: fmt.Errorf("weight: %w", err)}
		}
	}
	return raw, nil
}

func inverse(v float64, what string) (float64, error) {
	if !(v > 0) {
		return 0, fmt.Errorf("%w: the %s is %v, not above zero", ErrNoWeight, what, v)
	}
	return 1 / v, nil
}

// PointError says which of the points, from 0, stands in the way of a fit.
type PointError struct {
	Index int
	Err   error
}

func (e *PointError) Error() string { return fmt.Sprintf("point %d: %v", e.Index+1, e.Err) }

// Unwrap gives the reason.
func (e *PointError) Unwrap() error { return e.Err }
