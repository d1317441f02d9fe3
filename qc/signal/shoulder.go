package signal

import "math"

// shoulderNoise is how many standard deviations of its own noise a bend must have to be a
// shoulder's. A bend is sought at some hundred places.
const shoulderNoise = 5

// shoulderBend is the least bend of a shoulder as a part of that at its peak's apex.
const shoulderBend = 0.05

// withShoulders adds the bulges in the flanks of the candidates.
func (f *finder) withShoulders(found []candidate) []candidate {
	var out []candidate
	for i, c := range found {
		leftBound, rightBound := 0, len(f.smooth)-1
		if i > 0 {
			leftBound = f.lowest(found[i-1].at, c.at)
		}
		if i+1 < len(found) {
			rightBound = f.lowest(c.at, found[i+1].at)
		}
		left := f.shoulders(c, -1, c.left, f.limit(c, -1, c.left, leftBound))
		for j := len(left) - 1; j >= 0; j-- {
			out = append(out, left[j])
		}
		out = append(out, c)
		out = append(out, f.shoulders(c, 1, c.right, f.limit(c, 1, c.right, rightBound))...)
	}
	return out
}

// shoulders walks down one flank and gives the places where it bends down again after
// having bent up.
func (f *finder) shoulders(c candidate, step int, halfWidth float64, bound int) []candidate {
	reach := f.bendReach(c.at, step, halfWidth)
	if reach == 0 || !f.bends(c.at, reach) {
		return nil
	}
	apexBend := f.bend(c.at, reach)
	least := max(shoulderNoise*f.bendNoise(reach), -shoulderBend*apexBend)
	var out []candidate
	hollow := math.Inf(-1) // the largest bend up since the last summit
	for i := c.at + step; i != bound && f.bends(i-1, reach) && f.bends(i+1, reach); i += step {
		bend := f.bend(i, reach)
		hollow = max(hollow, bend)
		isLeast := bend <= f.bend(i-1, reach) && bend < f.bend(i+1, reach)
		if isLeast && bend < -least && hollow-bend > 2*least {
			out = append(out, candidate{at: i, prominence: c.prominence, left: halfWidth, right: halfWidth, shoulder: true})
			hollow = math.Inf(-1)
		}
	}
	return out
}

// bendReach gives the points of a quarter of a half width.
func (f *finder) bendReach(at, step int, halfWidth float64) int {
	n := 0
	for i := at; i+step >= 0 && i+step < len(f.times) && math.Abs(f.times[i+step]-f.times[at]) <= halfWidth/4; i += step {
		n++
	}
	return n
}

// bend is the second difference of means over reach points either side, at a distance of
// twice that: negative on summits.
func (f *finder) bend(at, reach int) float64 {
	return f.mean(at-2*reach, reach) - 2*f.mean(at, reach) + f.mean(at+2*reach, reach)
}

// bends tells whether a point is far enough from the ends to have a bend.
func (f *finder) bends(at, reach int) bool { return at-2*reach >= 0 && at+2*reach < len(f.level) }

func (f *finder) bendNoise(reach int) float64 {
	return f.sigma * math.Sqrt(6/float64(2*reach+1))
}

// hollow gives the point between two neighbours where the signal bends up most.
func (f *finder) hollow(a, b candidate) int {
	reach := f.bendReach(a.at, 1, min(a.right, b.left))
	reach = max(1, min(reach, (b.at-a.at)/6))
	deepest, at := math.Inf(-1), (a.at+b.at)/2
	for i := a.at + 1; i < b.at; i++ {
		if !f.bends(i, reach) {
			continue
		}
		if bend := f.bend(i, reach); bend > deepest {
			deepest, at = bend, i
		}
	}
	return at
}
