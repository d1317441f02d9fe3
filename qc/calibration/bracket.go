package calibration

import "fmt"

// Standard is a standard measured beside samples: its amount, its response and where
// it was measured, as a time or a position in the run.
type Standard struct{ Amount, Response, At float64 }

// Bracket gives the amount in a sample from two standards of different amounts around
// it by linear interpolation between their responses,
//
//	x = x1 + (x2 - x1) (y - y1) / (y2 - y1)
//
// the two-point calibration by bracketing of IUPAC's Guidelines for Calibration in
// Analytical Chemistry (Pure Appl. Chem. 70 (1998) 993). The response must lie between
// those of the standards.
//
// Errors: ErrNotFinite, ErrOneLevel, ErrFlat, ErrOutside.
func Bracket(low, high Standard, response float64) (float64, error) {
	switch {
	case !finite(low.Amount, low.Response, high.Amount, high.Response, response):
		return 0, fmt.Errorf("bracket: %w", ErrNotFinite)
	case low.Amount == high.Amount:
		return 0, fmt.Errorf("bracket: %w: %v", ErrOneLevel, low.Amount)
	case low.Response == high.Response:
		return 0, fmt.Errorf("bracket: %w: %v at both standards", ErrFlat, low.Response)
	case response < min(low.Response, high.Response) || response > max(low.Response, high.Response):
		return 0, fmt.Errorf("bracket: response %v: %w: the standards gave %v and %v", response, ErrOutside, low.Response, high.Response)
	}
	return between(low.Response, low.Amount, high.Response, high.Amount, response), nil
}

// BracketFactor gives the amount in a sample from the response factor between two
// standards measured before and after it: the factor, response divided by amount, is
// taken to drift linearly with time or position,
//
//	RF(t) = RF1 + (RF2 - RF1) (t - t1)/(t2 - t1),  x = y/RF(t)
//
// which corrects the sensitivity for drift within the bracket. The two standards may
// hold the same amount.
//
// Errors: ErrNotFinite, ErrOutside (the sample was not measured between the standards),
// ErrNoWeight (a standard without amount), ErrFlat (a factor of zero).
func BracketFactor(before, after Standard, response, at float64) (float64, error) {
	switch {
	case !finite(before.Amount, before.Response, before.At, after.Amount, after.Response, after.At, response, at):
		return 0, fmt.Errorf("bracket: %w", ErrNotFinite)
	case !(before.At < after.At && at >= before.At && at <= after.At):
		return 0, fmt.Errorf("bracket: measured at %v: %w: the standards were at %v and %v", at, ErrOutside, before.At, after.At)
	case !(before.Amount > 0 && after.Amount > 0):
		return 0, fmt.Errorf("bracket: %w: the standards hold %v and %v", ErrNoWeight, before.Amount, after.Amount)
	}
	factor := between(before.At, before.Response/before.Amount, after.At, after.Response/after.Amount, at)
	if factor == 0 || !finite(response/factor) {
		return 0, fmt.Errorf("bracket: %w: the response factor is %v", ErrFlat, factor)
	}
	return response / factor, nil
}
