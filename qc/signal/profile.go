package signal

import "math"

// profile is a signal less its baseline between the limits of one peak.
type profile struct {
	times, over []float64
	at          int // index of the apex, not at either end
	sigma       float64
}

// measure gives all figures that the profile alone holds.
func (p profile) measure() Peak {
	nan := math.NaN()
	out := Peak{
		Start: p.times[0], End: p.times[len(p.times)-1],
		Width10: nan, Width05: nan, WidthBase: nan, Plates: nan, PlatesTangent: nan, Tailing: nan, Asymmetry: nan,
		Resolution: nan, ResolutionTangent: nan, PeakToValley: nan,
	}
	out.Apex, out.Height = p.vertex()
	out.Area = p.area()
	out.SignalToNoise = 2 * out.Height / (NoiseRange * p.sigma)
	var seen bool
	if out.WidthHalf, seen = p.halfWidth(out.Height); seen {
		// The printed constant: exact would be 5.545177, 8 ln 2.
		out.Plates = 5.54 * square(out.Apex/out.WidthHalf)
	}
	if left, right, ok := p.edges(out.Height * 0.10); ok {
		out.Width10 = right - left
		out.Asymmetry = (right - out.Apex) / (out.Apex - left)
	}
	if left, right, ok := p.edges(out.Height * 0.05); ok {
		out.Width05 = right - left
		out.Tailing = out.Width05 / (2 * (out.Apex - left))
	}
	if width, ok := p.tangents(); ok {
		out.WidthBase = width
		out.PlatesTangent = 16 * square(out.Apex/width)
	}
	return out
}

func square(v float64) float64 { return v * v }

func (p profile) area() (sum float64) {
	for i := 1; i < len(p.over); i++ {
		sum += (p.over[i-1] + p.over[i]) / 2 * (p.times[i] - p.times[i-1])
	}
	return sum
}

// vertex gives time and height of the parabola through the apex and its neighbours; the
// point itself where the parabola has no summit near it.
func (p profile) vertex() (when, height float64) {
	t0, t1, t2 := p.times[p.at-1], p.times[p.at], p.times[p.at+1]
	s0, s1, s2 := p.over[p.at-1], p.over[p.at], p.over[p.at+1]
	if !(t0 < t1 && t1 < t2) {
		return t1, s1
	}
	before, after := (s1-s0)/(t1-t0), (s2-s1)/(t2-t1)
	bend := (after - before) / (t2 - t0) // half the second derivative
	if !(bend < 0) {
		return t1, s1
	}
	tilt := before + bend*(t1-t0) // the slope at t1
	shift := -tilt / (2 * bend)
	// Between two equal points the summit is half a step away; noise can put it anywhere.
	const near = 0.75
	if !(shift >= -near*(t1-t0) && shift <= near*(t2-t1)) {
		return t1, s1
	}
	return t1 + shift, s1 - tilt*tilt/(4*bend)
}

// halfWidth gives the width at half height. seen is false when both sides are hidden.
func (p profile) halfWidth(height float64) (width float64, seen bool) {
	left, onLeft := crossing(p.times, p.over, p.at, -1, height/2)
	right, onRight := crossing(p.times, p.over, p.at, 1, height/2)
	switch {
	case onLeft && !onRight:
		return 2 * (p.times[p.at] - left), true
	case onRight && !onLeft:
		return 2 * (right - p.times[p.at]), true
	}
	return right - left, onLeft
}

// edges gives the times at which the flanks pass a level: the mean of the first crossing
// from the apex and of the last before the limit, between which noise crosses several times.
func (p profile) edges(level float64) (left, right float64, ok bool) {
	if !(level >= 3*p.sigma && p.over[p.at] > level) {
		return 0, 0, false
	}
	left, onLeft := crossing(p.times, p.over, p.at, -1, level)
	right, onRight := crossing(p.times, p.over, p.at, 1, level)
	if !onLeft || !onRight {
		return 0, 0, false
	}
	return (left + rising(p.times, p.over, 0, 1, level)) / 2, (right + rising(p.times, p.over, len(p.over)-1, -1, level)) / 2, true
}

// rising walks from a limit towards the apex until the signal is above a level and
// gives the time of the crossing.
func rising(times, s []float64, from, step int, level float64) float64 {
	i := from
	for s[i] <= level {
		i += step
	}
	if i == from {
		return times[from]
	}
	last := i - step
	part := (level - s[last]) / (s[i] - s[last])
	return times[last] + part*(times[i]-times[last])
}

// tangents gives the distance at the baseline between the tangents at the steepest
// points of the flanks. ok is false when a flank's steepest point is not within it.
func (p profile) tangents() (width float64, ok bool) {
	left, onLeft := p.foot(-1)
	right, onRight := p.foot(1)
	return right - left, onLeft && onRight
}

// foot gives the time at which the tangent to a flank at its steepest point meets the
// baseline. The slope at a point is that of straight lines fitted over two windows,
// extrapolated to a window of none, so that neither noise nor curvature decides it.
func (p profile) foot(step int) (when float64, ok bool) {
	end := 0
	if step > 0 {
		end = len(p.over) - 1
	}
	half, seen := crossing(p.times, p.over, p.at, step, p.over[p.at]/2)
	if !seen {
		return 0, false
	}
	points := 0 // from the apex to half height
	for i := p.at; i != end && math.Abs(p.times[i]-p.times[p.at]) < math.Abs(half-p.times[p.at]); i += step {
		points++
	}
	reach := max(1, points/6)
	steepest, found := 0.0, 0
	for i := p.at + step; i != end; i += step {
		slope, fits := p.slope(i, reach)
		if fits && -slope*float64(step) > steepest {
			steepest, found = -slope*float64(step), i
		}
	}
	if found == 0 || found == p.at+step {
		return 0, false
	}
	slope := -steepest * float64(step)
	var t, v float64
	for i := found - reach; i <= found+reach; i++ {
		t += p.times[i]
		v += p.over[i]
	}
	n := float64(2*reach + 1)
	return t/n - v/n/slope, true
}

// slope gives the slope at a point; ok is false when the windows do not fit in.
func (p profile) slope(at, reach int) (slope float64, ok bool) {
	if at-2*reach < 0 || at+2*reach >= len(p.over) {
		return 0, false
	}
	// A straight line over a window of half width d has the slope f' + f'''d²/10.
	return (4*p.fitted(at, reach) - p.fitted(at, 2*reach)) / 3, true
}

// fitted gives the slope of the straight line fitted to the points within reach.
func (p profile) fitted(at, reach int) float64 {
	var centre, products, squares float64
	for i := at - reach; i <= at+reach; i++ {
		centre += p.times[i]
	}
	centre /= float64(2*reach + 1)
	for i := at - reach; i <= at+reach; i++ {
		d := p.times[i] - centre
		products += d * p.over[i]
		squares += d * d
	}
	return products / squares
}
