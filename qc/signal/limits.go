package signal

import "math"

// boundary gives the index that parts two neighbours: the lowest point between them, or,
// where one is a shoulder, the point between them where the signal bends up most.
func (f *finder) boundary(a, b candidate) int {
	if a.shoulder || b.shoulder {
		return f.hollow(a, b)
	}
	return f.lowest(a.at, b.at)
}

// lowest gives the index of the lowest point between two indices.
func (f *finder) lowest(from, to int) int {
	at := from
	for i := from; i <= to; i++ {
		if f.smooth[i] < f.smooth[at] {
			at = i
		}
	}
	return at
}

// tailLevel is how much of a peak's prominence may be left where it ends, when no
// noise hides more: small against any tolerance of an area, large against rounding.
const tailLevel = 1e-5

// leastReach is how many half widths a limit is from the apex at least, when no valley is
// nearer: noise may hide the last bend of the tail, but a peak is not over at its flanks.
// Beyond three and a half, which are 4.1 σ, a Gaussian peak has 0.002 % of its area a side.
const leastReach = 3.5

// steadyBend: a bend that changes by less than this part over a half width is no peak's.
// An exponential tail loses half of its bend over a half width, if it is most of the peak.
// At its steepest a flank's bend is steady too, so only bends below baselineBend of the
// prominence count.
const (
	steadyBend   = 0.3
	baselineBend = 0.02
)

// limit walks down from half height to where the peak ends. A peak's flank and tail
// bend; a baseline is straight, however steep. So the peak ends where the signal has been
// straight over two half widths W, at the far end of these,
//
//	s(p) - 2 s(p+W) + s(p+2W) < tolerance
//
// with means over a quarter of W either side for s, or where it goes on to bend as it did a W
// before, as a bent baseline does. It is the bound (a valley or the end of the signal) when that is nearer.
func (f *finder) limit(c candidate, step int, halfWidth float64, bound int) int {
	p, ok := f.beyond(c.at, c.at, step, halfWidth, bound)
	width := abs(p - c.at)
	reach := width / 4
	if ok {
		p, ok = f.beyond(p, p, step, (leastReach-3)*halfWidth, bound)
	}
	// The noise of the sum below, whose weights are 1, -2 and 1.
	noise := f.sigma * math.Sqrt(6/float64(2*reach+1))
	tolerance := max(noise, tailLevel*c.prominence)
	var bends []float64
	for middle, far := p, p; ok; p += step {
		if middle, ok = f.beyond(middle, p, step, halfWidth, bound); !ok {
			break
		}
		if far, ok = f.beyond(far, p, step, 2*halfWidth, bound); !ok {
			break
		}
		bend := f.mean(p, reach) - 2*f.mean(middle, reach) + f.mean(far, reach)
		if bend < tolerance {
			return far
		}
		bends = append(bends, bend)
		before := len(bends) - 1 - width
		if before >= 0 && bend < baselineBend*c.prominence && math.Abs(bend-bends[before])+tolerance < steadyBend*bend {
			return far
		}
	}
	return bound
}

// beyond goes on from index i until the time is at least distance away from that at
// origin; ok is false when the bound comes first.
func (f *finder) beyond(i, origin, step int, distance float64, bound int) (at int, ok bool) {
	for math.Abs(f.times[i]-f.times[origin]) < distance || i == origin {
		if i == bound {
			return i, false
		}
		i += step
	}
	return i, true
}

// mean of the signal less drift over the points within reach, fewer at its ends.
func (f *finder) mean(at, reach int) float64 {
	reach = min(reach, at, len(f.level)-1-at)
	return (f.sums[at+reach+1] - f.sums[at-reach]) / float64(2*reach+1)
}

// runningSums gives the sums of the first 0, 1, 2, … values.
func runningSums(values []float64) []float64 {
	sums := make([]float64, len(values)+1)
	for i, v := range values {
		sums[i+1] = sums[i] + v
	}
	return sums
}

// baselineLevel gives the level of the signal at a limit: where the recording ends, the
// smoothed signal itself, elsewhere the mean over about half a half width on either
// side, where the signal is straight.
func (f *finder) baselineLevel(at int, halfWidth float64, ends bool) float64 {
	if ends {
		return f.smooth[at]
	}
	reach := 0
	for at-reach > 0 && at+reach+1 < len(f.times) &&
		f.times[at]-f.times[at-reach-1] <= halfWidth/2 && f.times[at+reach+1]-f.times[at] <= halfWidth/2 {
		reach++
	}
	return f.mean(at, reach)
}

// valleyLevel gives the level of the signal at a valley: means over two stretches,
// extrapolated to a stretch of none, so that neither noise nor the bend of the valley decides it.
func (f *finder) valleyLevel(at int, halfWidth float64) float64 {
	// A mean over a stretch of half length d is above a parabola's lowest point by f''d²/6.
	return (4*f.baselineLevel(at, halfWidth/2, false) - f.baselineLevel(at, halfWidth, false)) / 3
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
