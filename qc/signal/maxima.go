package signal

import "slices"

// candidate is a local maximum of the smoothed signal that stands out.
type candidate struct {
	at int // index of the apex
	// prominence is the height over the higher of the two lowest points that part the
	// maximum from higher ground (or from the end of the signal).
	prominence float64
	// left and right are the times from the apex to where the signal has fallen by half the prominence.
	left, right float64
	shoulder    bool // a bulge in a flank, without a maximum of its own
}

// candidates gives the maxima whose prominence reaches the least height and whose
// width at half prominence is within the settings', by time. A shoulder without a
// maximum of its own is part of its peak.
func (f *finder) candidates() []candidate {
	least := f.settings.Threshold * f.sigma * NoiseRange / 2
	var out []candidate
	tops, valleys := extrema(f.smooth)
	base := bases(f.smooth, tops, valleys)
	for i, at := range tops {
		c := candidate{at: at, prominence: f.smooth[at] - base[i]}
		if c.prominence < least {
			continue
		}
		half := f.smooth[at] - c.prominence/2
		left, _ := crossing(f.times, f.smooth, at, -1, half)
		right, _ := crossing(f.times, f.smooth, at, 1, half)
		c.left, c.right = f.times[at]-left, right-f.times[at]
		if width := c.left + c.right; width >= f.settings.MinWidth && (f.settings.MaxWidth == 0 || width <= f.settings.MaxWidth) {
			out = append(out, c)
		}
	}
	if f.settings.Smoothing > 1 {
		return f.confirmed(out, least)
	}
	return out
}

// confirmed leaves out the candidates that only the filter made: beside a steep peak a
// smoothed signal swings, where the signal as measured just falls.
func (f *finder) confirmed(found []candidate, least float64) []candidate {
	var out []candidate
	for i, c := range found {
		from, to := 0, len(f.level)-1
		if i > 0 {
			from = found[i-1].at
		}
		if i+1 < len(found) {
			to = found[i+1].at
		}
		base := max(slices.Min(f.level[from:c.at+1]), slices.Min(f.level[c.at:to+1]))
		if f.level[c.at]-base >= least {
			out = append(out, c)
		}
	}
	return out
}

// extrema gives the indices of the maxima inside the signal (the middle of a flat top)
// and of the lowest point before the first, between each two, and after the last.
func extrema(s []float64) (tops, valleys []int) {
	lowest := 0
	for i := 1; i < len(s); {
		end := i // of the run of equal values that starts at i
		for end+1 < len(s) && s[end+1] == s[i] {
			end++
		}
		if s[i] > s[i-1] && end+1 < len(s) && s[end+1] < s[i] {
			tops = append(tops, (i+end)/2)
			valleys = append(valleys, lowest)
			lowest = end + 1
		}
		if s[i] < s[lowest] {
			lowest = i
		}
		i = end + 1
	}
	return tops, append(valleys, lowest)
}

// bases gives for each maximum the level that its prominence counts from. Of equal
// maxima the earlier counts as the higher.
func bases(s []float64, tops, valleys []int) []float64 {
	left, right := make([]float64, len(tops)), make([]float64, len(tops))
	var stack []int
	lowest := make([]float64, len(tops)) // on the stack: lowest point since the entry below
	for i, at := range tops {
		low := s[valleys[i]]
		for len(stack) > 0 && s[tops[stack[len(stack)-1]]] < s[at] {
			low = min(low, lowest[stack[len(stack)-1]])
			stack = stack[:len(stack)-1]
		}
		left[i], lowest[i] = low, low
		stack = append(stack, i)
	}
	stack = stack[:0]
	for i := len(tops) - 1; i >= 0; i-- {
		low := s[valleys[i+1]]
		for len(stack) > 0 && s[tops[stack[len(stack)-1]]] <= s[tops[i]] {
			low = min(low, lowest[stack[len(stack)-1]])
			stack = stack[:len(stack)-1]
		}
		right[i], lowest[i] = low, low
		stack = append(stack, i)
	}
	for i := range left {
		left[i] = max(left[i], right[i])
	}
	return left
}

// crossing walks from index at in direction step until the signal is at or below level
// and gives the time of the crossing by linear interpolation. Where there is none, it
// gives the time of the last point, and ok is false.
func crossing(times, s []float64, at, step int, level float64) (when float64, ok bool) {
	for next := at + step; next >= 0 && next < len(s); next += step {
		if s[next] > level {
			continue
		}
		i := next - step
		if s[next] == s[i] {
			return times[i], true
		}
		part := (s[i] - level) / (s[i] - s[next])
		return times[i] + part*(times[next]-times[i]), true
	}
	if step < 0 {
		return times[0], false
	}
	return times[len(s)-1], false
}
