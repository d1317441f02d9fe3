package signal

import (
	"fmt"
	"math"
	"slices"
)

// Noise estimates the standard deviation σ of the noise of a signal from the median
// absolute deviation of its first differences:
//
//	σ = median(|d - median(d)|) / (0.6745 · √2)
//
// 0.6745 is the median absolute deviation of the standard normal law, √2 is for the
// difference of two independent values. Drift cancels in the differences and peaks,
// which are few of the points, hardly move a median. Noise that is not independent
// from point to point (a filtered signal) is underestimated.
//
// ok is false with fewer than minDifferences differences.
func Noise(values []float64) (sigma float64, ok bool) {
	if len(values)-1 < minDifferences {
		return 0, false
	}
	differences := make([]float64, len(values)-1)
	for i := range differences {
		differences[i] = values[i+1] - values[i]
	}
	centre := median(differences)
	for i, d := range differences {
		differences[i] = math.Abs(d - centre)
	}
	return median(differences) / (0.6745 * math.Sqrt2), true
}

// noiseOf estimates the noise within a span of the signal, or of all of it.
func noiseOf(times, values []float64, within *Span) (sigma float64, ok bool, err error) {
	if within == nil {
		sigma, ok = Noise(values)
		return sigma, ok, nil
	}
	from, _ := slices.BinarySearch(times, within.From)
	till, _ := slices.BinarySearch(times, math.Nextafter(within.To, math.Inf(1)))
	if sigma, ok = Noise(values[from:till]); !ok {
		return 0, false, fmt.Errorf("%w: %d points from %v to %v are too few to estimate the noise", ErrSpan, till-from, within.From, within.To)
	}
	return sigma, true, nil
}

// minDifferences is how many differences a median needs to be worth anything.
const minDifferences = 10

// NoiseRange is the number h / σ: the range of normal noise, ±3σ, within which 99.7 %
// of it lies. It turns a standard deviation into the h of signal to noise 2H/h.
const NoiseRange = 6

// resolution is the least standard deviation that a signal can be said to have: that
// of rounding, q/√12, with q the largest of the smallest step seen in the signal less
// drift, its range over 2²⁴ (finer than converters resolve), and the rounding errors
// of doubles. It keeps the signal to noise of a quantised or noiseless signal sensible.
func resolution(values, level []float64) float64 {
	step, largest := math.Inf(1), 0.0
	for i, v := range level {
		largest = max(largest, math.Abs(values[i]))
		if i > 0 && v != level[i-1] {
			step = min(step, math.Abs(v-level[i-1]))
		}
	}
	if math.IsInf(step, 1) {
		return 0
	}
	span := slices.Max(level) - slices.Min(level)
	return max(step, span*0x1p-24, largest*0x1p-48) / math.Sqrt(12)
}

// median sorts its argument.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	if n%2 == 1 {
		return values[n/2]
	}
	return values[n/2-1] + (values[n/2]-values[n/2-1])/2
}
