// Package signal finds and measures peaks in chromatograms. It knows no units: times
// come out in the unit that they go in, areas in signal unit times time unit.
//
// Definitions. The baseline of a peak is the straight line between its limits (valley
// to valley). Area is the trapezoid sum of the signal less the baseline over the
// actual time steps. Height is the signal less the baseline at the apex. Signal to
// noise is 2H/h as in the pharmacopoeias, with h, the range of the noise, taken as 6σ
// and σ as in Noise. Adding a straight line to a signal changes none of these, and
// multiplying the signal multiplies areas and heights.
package signal

import (
	"errors"
	"fmt"
	"math"
)

// Errors of Find.
var (
	// ErrSettings: the integration settings cannot be used.
	ErrSettings = errors.New("unusable integration settings")
	// ErrTimes: times and values differ in number, or a time is not finite or goes back.
	ErrTimes = errors.New("unusable time axis")
	// ErrValues: a value is NaN or infinite; leave such points out first.
	ErrValues = errors.New("a value is not finite")
)

// Settings steer peak finding.
type Settings struct {
	// Threshold is the least signal to noise of a peak; above 0.
	Threshold float64
	// MinWidth is the least full width at half height, in the unit of time.
	MinWidth float64
	// Smoothing is the odd number of points of the quadratic Savitzky-Golay filter
	// used for finding peaks; 0 or 1 is none. Areas and heights come from the
	// unsmoothed signal.
	Smoothing int
}

// Peak is a found peak.
type Peak struct {
	Apex, Start, End           float64 // times
	Height                     float64
	Area                       float64
	WidthHalf                  float64 // full width at half height, in time
	BaselineStart, BaselineEnd float64 // the baseline's level at Start and End
	SignalToNoise              float64
}

// Result is what Find makes of a signal.
type Result struct {
	// Noise is the estimate of σ that signal to noise was computed with: that of Noise,
	// but not less than the signal's resolution. Nil when the signal is too short.
	Noise *float64
	Peaks []Peak // by apex
}

// Find looks for peaks in a signal. Times do not decrease.
func Find(times, values []float64, s Settings) (Result, error) {
	if !(s.Threshold > 0) || math.IsInf(s.Threshold, 1) || !(s.MinWidth >= 0) {
		return Result{}, fmt.Errorf("%w: threshold %v, least width %v", ErrSettings, s.Threshold, s.MinWidth)
	}
	if err := check(times, values); err != nil {
		return Result{}, err
	}
	level := withoutDrift(times, values)
	sigma, ok := Noise(level)
	if !ok {
		return Result{}, nil
	}
	sigma = max(sigma, resolution(values, level))
	result := Result{Noise: &sigma}
	if sigma == 0 {
		return result, nil // a constant signal
	}
	smooth, err := Smooth(level, s.Smoothing)
	if err != nil {
		return Result{}, fmt.Errorf("%w: %w", ErrSettings, err)
	}
	f := finder{times: times, raw: values, level: level, smooth: smooth, sums: runningSums(level), sigma: sigma, settings: s}
	result.Peaks = f.peaks()
	return result, nil
}

func check(times, values []float64) error {
	if len(times) != len(values) {
		return fmt.Errorf("%w: %d times and %d values", ErrTimes, len(times), len(values))
	}
	for i, t := range times {
		if math.IsNaN(t) || math.IsInf(t, 0) {
			return fmt.Errorf("%w: time %d is %v", ErrTimes, i+1, t)
		}
		if i > 0 && t < times[i-1] {
			return fmt.Errorf("%w: time %d goes back from %v to %v", ErrTimes, i+1, times[i-1], t)
		}
		if math.IsNaN(values[i]) || math.IsInf(values[i], 0) {
			return fmt.Errorf("%w: value %d is %v", ErrValues, i+1, values[i])
		}
	}
	return nil
}

// withoutDrift subtracts the line through the first point whose slope is the median
// of all slopes, so that an added line takes no part in any decision.
func withoutDrift(times, values []float64) []float64 {
	var slopes []float64
	for i := 1; i < len(times); i++ {
		if dt := times[i] - times[i-1]; dt > 0 {
			slopes = append(slopes, (values[i]-values[i-1])/dt)
		}
	}
	out := append([]float64(nil), values...)
	if len(slopes) == 0 {
		return out
	}
	slope := median(slopes)
	for i := range out {
		out[i] -= values[0] + slope*(times[i]-times[0])
	}
	return out
}
