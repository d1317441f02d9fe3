package uncertainty

import (
	"fmt"
	"math"
)

// Rectangular gives the standard uncertainty a/√3 of a quantity that lies anywhere
// within ± a (GUM 4.3.7). Errors: ErrNegative, ErrNotFinite.
func Rectangular(halfWidth float64) (float64, error) {
	return divided(halfWidth, math.Sqrt(3), "rectangular")
}

// Triangular gives the standard uncertainty a/√6 of a quantity within ± a whose middle
// is likelier than the ends (GUM 4.3.9). Errors: ErrNegative, ErrNotFinite.
func Triangular(halfWidth float64) (float64, error) {
	return divided(halfWidth, math.Sqrt(6), "triangular")
}

// Normal gives the standard uncertainty U/k of an expanded uncertainty that was stated
// with its coverage factor, as on a certificate (GUM 4.3.3).
// Errors: ErrNegative, ErrZero, ErrNotFinite.
func Normal(expanded, k float64) (float64, error) {
	if k == 0 {
		return 0, fmt.Errorf("normal distribution: the coverage factor is %w", ErrZero)
	}
	if k < 0 {
		return 0, fmt.Errorf("normal distribution: coverage factor %v: %w", k, ErrNegative)
	}
	return divided(expanded, k, "normal")
}

func divided(width, by float64, name string) (float64, error) {
	if !finite(width, by) {
		return 0, fmt.Errorf("%s distribution: %v: %w", name, width, ErrNotFinite)
	}
	if width < 0 {
		return 0, fmt.Errorf("%s distribution: %v: %w", name, width, ErrNegative)
	}
	return width / by, nil
}
