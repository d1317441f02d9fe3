package signal

import "math"

// finder holds a signal in its several forms while peaks are sought.
type finder struct {
	times    []float64
	raw      []float64 // as measured
	level    []float64 // less drift
	smooth   []float64 // less drift and smoothed: for finding only
	sums     []float64 // running sums of level
	sigma    float64
	settings Settings
}

// peaks measures every candidate between its limits.
func (f *finder) peaks() []Peak {
	found := f.candidates()
	var out []Peak
	leftBound := 0
	for i, c := range found {
		rightBound := len(f.smooth) - 1
		if i+1 < len(found) {
			rightBound = f.lowest(c.at, found[i+1].at)
		}
		start := f.limit(c, -1, c.left, leftBound)
		end := f.limit(c, 1, c.right, rightBound)
		p, ok := f.measure(c, start, end, start == leftBound, end == rightBound)
		if ok {
			out = append(out, p)
		}
		leftBound = rightBound
	}
	return out
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

// limit walks down from half height to where the peak ends. A peak's flank and tail
// bend; a baseline is straight, however steep. So the peak ends at the first point
// from which the signal is straight over two half widths:
//
//	s(p) - 2 s(p+W) + s(p+2W) < tolerance
//
// with means over a quarter of W either side for s, and the limit is p+W, where less of the tail is
// left than at p. It is the bound (a valley or the end of the signal) when that is nearer.
func (f *finder) limit(c candidate, step int, halfWidth float64, bound int) int {
	p, ok := f.beyond(c.at, c.at, step, halfWidth, bound)
	reach := abs(p-c.at) / 4
	// The noise of the sum below, whose weights are 1, -2 and 1.
	noise := f.sigma * math.Sqrt(6/float64(2*reach+1))
	tolerance := max(noise, tailLevel*c.prominence)
	for middle, far := p, p; ok; p += step {
		if middle, ok = f.beyond(middle, p, step, halfWidth, bound); !ok {
			break
		}
		if far, ok = f.beyond(far, p, step, 2*halfWidth, bound); !ok {
			break
		}
		if f.mean(p, reach)-2*f.mean(middle, reach)+f.mean(far, reach) < tolerance {
			return middle
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

// measure takes a peak's figures from the unsmoothed signal. ok is false when what is
// left over the baseline is no peak by the settings.
func (f *finder) measure(c candidate, start, end int, startBounded, endBounded bool) (Peak, bool) {
	if !(start < c.at && c.at < end) || !(f.times[end] > f.times[start]) {
		return Peak{}, false
	}
	from := f.baselineLevel(start, c.left, startBounded)
	to := f.baselineLevel(end, c.right, endBounded)
	slope := (to - from) / (f.times[end] - f.times[start])
	over := make([]float64, end-start+1)
	for i := range over {
		over[i] = f.level[start+i] - (from + slope*(f.times[start+i]-f.times[start]))
	}
	part := finder{times: f.times[start : end+1]}
	apex, height := part.vertex(over, c.at-start)
	p := Peak{Apex: apex, Start: f.times[start], End: f.times[end], Height: height}
	for i := 1; i < len(over); i++ {
		p.Area += (over[i-1] + over[i]) / 2 * (part.times[i] - part.times[i-1])
	}
	p.WidthHalf = part.crossing(over, c.at-start, 1, height/2, len(over)-1) - part.crossing(over, c.at-start, -1, height/2, 0)
	p.SignalToNoise = 2 * height / (NoiseRange * f.sigma)
	// What drift took off goes back on the levels given.
	p.BaselineStart = from + (f.raw[start] - f.level[start])
	p.BaselineEnd = to + (f.raw[end] - f.level[end])
	usable := p.SignalToNoise >= f.settings.Threshold && p.WidthHalf >= f.settings.MinWidth && p.Area > 0
	return p, usable
}

// baselineLevel gives the level of the signal at a limit: in a valley the smoothed
// signal itself, elsewhere the mean over about half a half width on either side, where
// the signal is straight.
func (f *finder) baselineLevel(at int, halfWidth float64, bounded bool) float64 {
	if bounded {
		return f.smooth[at]
	}
	reach := 0
	for at-reach > 0 && at+reach+1 < len(f.times) &&
		f.times[at]-f.times[at-reach-1] <= halfWidth/2 && f.times[at+reach+1]-f.times[at] <= halfWidth/2 {
		reach++
	}
	return f.mean(at, reach)
}

// vertex gives time and height of the parabola through the point at an index and its
// neighbours; the point itself where the parabola has no summit near it.
func (f *finder) vertex(s []float64, at int) (when, height float64) {
	t0, t1, t2 := f.times[at-1], f.times[at], f.times[at+1]
	if !(t0 < t1 && t1 < t2) {
		return t1, s[at]
	}
	before, after := (s[at]-s[at-1])/(t1-t0), (s[at+1]-s[at])/(t2-t1)
	bend := (after - before) / (t2 - t0) // half the second derivative
	if !(bend < 0) {
		return t1, s[at]
	}
	tilt := before + bend*(t1-t0) // the slope at t1
	shift := -tilt / (2 * bend)
	// Between two equal points the summit is half a step away; noise can put it anywhere.
	const near = 0.75
	if !(math.Abs(shift) <= near*max(t1-t0, t2-t1)) {
		return t1, s[at]
	}
	return t1 + shift, s[at] - tilt*tilt/(4*bend)
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
