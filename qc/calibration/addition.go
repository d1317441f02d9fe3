package calibration

import (
	"fmt"
	"math"
)

// Intercept is the amount found by standard addition.
type Intercept struct {
	// X is the amount x_E = a/b that the sample holds without an addition: the distance
	// from zero, against the direction of the additions, at which the line meets the x axis.
	X float64
	// StandardError is (s/b) sqrt(1/n + ȳ²/(b² Sxx)), with weighted means and sums when
	// the fit is weighted; Low and High are X ± t(DF) times it. NaN without a degree of freedom.
	StandardError, Low, High float64
}

// XIntercept gives the amount in a sample to which known amounts were added. Miller &
// Miller, Statistics and Chemometrics for Analytical Chemistry, section 5.8.
//
// Errors: ErrNotForModel unless the model is ModelStandardAddition, ErrFlat, ErrConfidence.
func (c *Curve) XIntercept(confidence float64) (*Intercept, error) {
	if c.Model != ModelStandardAddition {
		return nil, fmt.Errorf("x intercept: %w: the model is %s", ErrNotForModel, c.Model)
	}
	if !(confidence > 0 && confidence < 1) {
		return nil, fmt.Errorf("%w: %v", ErrConfidence, confidence)
	}
	at, err := c.Amount(0)
	if err != nil {
		return nil, fmt.Errorf("x intercept: %w", err)
	}
	i := &Intercept{X: -at, StandardError: math.Sqrt(c.variance(at)) / math.Abs(c.slope(at))}
	half := c.HalfWidth(i.StandardError, confidence)
	i.Low, i.High = i.X-half, i.X+half
	return i, nil
}
