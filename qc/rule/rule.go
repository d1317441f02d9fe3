// Package rule holds the arithmetic of quality control: the statistics that rules
// judge and the comparisons with their limits. All functions are pure. A statistic
// that does not exist is NaN, and NaN passes no comparison.
package rule

import "math"

// Guard is the relative guard of inclusive limits: a value that misses its limit by
// no more than this fraction of the limit meets it. It absorbs the last digits of
// floating point arithmetic, nothing that a balance or detector could tell.
const Guard = 1e-9

// AtMost tells whether v is at most limit, inclusive within Guard.
func AtMost(v, limit float64) bool {
	return v <= limit+Guard*math.Abs(limit)
}

// AtLeast tells whether v is at least limit, inclusive within Guard.
func AtLeast(v, limit float64) bool {
	return v >= limit-Guard*math.Abs(limit)
}

// Within tells whether v lies between low and high, both inclusive within Guard. A nil
// limit does not bind; NaN and infinities are outside of any limits.
func Within(v float64, low, high *float64) bool {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return false
	}
	if low != nil && !AtLeast(v, *low) {
		return false
	}
	return high == nil || AtMost(v, *high)
}

// Recovery is 100 · found / nominal in percent, both in the same unit. It is NaN
// unless nominal is above zero.
func Recovery(found, nominal float64) float64 {
	if !(nominal > 0) {
		return math.NaN()
	}
	return finite(100 * (found / nominal))
}

// Deviation is 100 · (found - nominal) / nominal in percent, as for back-calculated
// calibrants. It is NaN unless nominal is above zero.
func Deviation(found, nominal float64) float64 {
	if !(nominal > 0) {
		return math.NaN()
	}
	return finite(100 * ((found - nominal) / nominal))
}

// RelativePercentDifference is 100 · |a - b| / mean(a, b) in percent, also written
// 200 · |a - b| / (a + b). It is NaN unless the mean is above zero.
func RelativePercentDifference(a, b float64) float64 {
	mean := a/2 + b/2
	if !(mean > 0) {
		return math.NaN()
	}
	return finite(100 * (math.Abs(a-b) / mean))
}

// RSD is the relative standard deviation of duplicates, 100 · (|a - b| / √2) / mean(a, b)
// in percent: the standard deviation of two values is |a - b| / √2. It is smaller than
// the relative percent difference by the factor √2, so a limit must name its statistic.
func RSD(a, b float64) float64 {
	return RelativePercentDifference(a, b) / math.Sqrt2
}

// PercentOfMean is 100 · v / mean(reference) in percent, as for the response of an
// internal standard against that in the calibrants. It is NaN without reference or
// unless the mean is above zero.
func PercentOfMean(v float64, reference []float64) float64 {
	if len(reference) == 0 {
		return math.NaN()
	}
	var mean float64
	for _, r := range reference {
		mean += r / float64(len(reference))
	}
	return Recovery(v, mean)
}

// finite turns an infinity into NaN: what left the range of a double says nothing.
func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}
