package table

import "fmt"

// Drift is a drift standard before or after samples.
type Drift struct {
	// At is the time or the position in the run, in any unit that all share.
	At float64
	// Response to the standard, corrected for the blank where the method says so.
	Response float64
}

// Sensitivity corrects the response at a position for a sensitivity that drifts linearly between
// two measurements of one drift standard: it is divided by the standard's response
// interpolated to the position and multiplied by the reference, the response that the calibration
// was made with. Common practice, no source. A position outside the bracket is refused.
func Sensitivity(response, at float64, opening, closing Drift, reference float64) (float64, error) {
	standard, err := interpolated(response, at, opening, closing, reference)
	if err != nil {
		return 0, err
	}
	if !(opening.Response > 0 && closing.Response > 0 && reference > 0) {
		return 0, undefined("drift standards with the responses %v and %v, reference %v", opening.Response, closing.Response, reference)
	}
	return response * reference / standard, nil
}

// Offset corrects a reading at a position for a zero that drifts linearly, as δ values are:
// the standard's reading interpolated to the position is taken off and the
// reference, its reading without drift, put on. Common practice, no source. A position outside the bracket is refused.
func Offset(reading, at float64, opening, closing Drift, reference float64) (float64, error) {
	standard, err := interpolated(reading, at, opening, closing, reference)
	if err != nil {
		return 0, err
	}
	return reading - standard + reference, nil
}

// interpolated gives the standard's response at a position.
func interpolated(response, at float64, opening, closing Drift, reference float64) (float64, error) {
	if !finite(response, at, opening.At, opening.Response, closing.At, closing.Response, reference) {
		return 0, missing("drift correction of %v at %v", response, at)
	}
	if !(closing.At > opening.At) {
		return 0, undefined("drift between %v and %v", opening.At, closing.At)
	}
	if !(at >= opening.At && at <= closing.At) {
		return 0, fmt.Errorf("%w: %v by drift standards at %v and %v", ErrOutside, at, opening.At, closing.At)
	}
	part := (at - opening.At) / (closing.At - opening.At)
	return (1-part)*opening.Response + part*closing.Response, nil
}
