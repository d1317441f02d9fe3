// Package signal finds and measures peaks in chromatograms. It knows no units: times
// come out in the unit that they go in, areas in signal unit times time unit.
//
// Definitions. A peak ends where the signal becomes straight, or at the valley that
// parts it from a neighbour. Peaks parted by such valleys stand on one common baseline;
// how their area is divided, and what other baselines there are, is said at Baseline. Area is the trapezoid sum
// of the signal less the baseline over the actual time steps, height the signal less
// the baseline at the apex, the summit of the parabola through the highest point and
// its neighbours. Signal to noise is 2H/h as in the pharmacopoeias, with h, the range of
// the noise, taken as 6σ and σ as in Noise. Adding a straight line to a signal changes
// none of these, and multiplying the signal multiplies areas and heights.
//
// Widths, plates, tailing, resolution and peak to valley are defined at Peak, after the
// chapters on chromatographic separation of the United States Pharmacopeia (621) and
// the European Pharmacopoeia (2.2.46), with the constants printed there. A figure that
// cannot be had, because a neighbour or the noise hides it, is NaN.
package signal

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Errors of Find and Between.
var (
	// ErrSettings: the integration settings cannot be used.
	ErrSettings = errors.New("unusable integration settings")
	// ErrTimes: times and values differ in number, or a time is not finite or goes back.
	ErrTimes = errors.New("unusable time axis")
	// ErrValues: a value is NaN or infinite; leave such points out first.
	ErrValues = errors.New("a value is not finite")
	// ErrSpan: a set time is not in the recording, or too few points lie between two.
	ErrSpan = errors.New("unusable set times")
)

// Find looks for peaks in a signal. Times do not decrease.
func Find(times, values []float64, s Settings) (Result, error) {
	f, result, err := prepare(times, values, s)
	if err != nil || f == nil {
		return result, err
	}
	if result.Peaks, err = f.peaks(); err != nil {
		return Result{}, err
	}
	return result, nil
}

// prepare checks a signal and estimates its noise; the finder is nil when there can be no peaks.
func prepare(times, values []float64, s Settings) (*finder, Result, error) {
	if err := s.check(); err != nil {
		return nil, Result{}, err
	}
	if err := check(times, values); err != nil {
		return nil, Result{}, err
	}
	level := withoutDrift(times, values)
	sigma, ok, err := noiseOf(times, level, s.Noise)
	if err != nil || !ok {
		return nil, Result{}, err
	}
	sigma = max(sigma, resolution(values, level))
	result := Result{Noise: &sigma}
	if sigma == 0 {
		return nil, result, nil // a constant signal
	}
	smooth, err := Smooth(level, s.Smoothing)
	if err != nil {
		return nil, Result{}, fmt.Errorf("%w: %w", ErrSettings, err)
	}
	return &finder{times: times, raw: values, level: level, smooth: smooth, sums: runningSums(level), sigma: sigma, settings: s}, result, nil
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

// withoutDrift subtracts the line through the first point with the usual slope of the
// signal, so that an added line takes no part in any decision. Usual is the mean of the
// middle tenth of all slopes: the median alone would make two points equal, perhaps on a
// summit, and leave to rounding which of them is higher.
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
	slices.Sort(slopes)
	margin := (len(slopes) - max(min(3, len(slopes)), len(slopes)/10)) / 2
	slope := 0.0
	for i, v := range slopes[margin : len(slopes)-margin] {
		slope += (v - slope) / float64(i+1)
	}
	for i := range out {
		out[i] -= values[0] + slope*(times[i]-times[0])
	}
	return out
}
