package signal

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

// line is a stretch of baseline: levels, less drift, at two times.
type line struct{ t0, y0, t1, y1 float64 }

func (l line) at(t float64) float64 {
	return l.y0 + (l.y1-l.y0)/(l.t1-l.t0)*(t-l.t0)
}

// stretch is a candidate between its limits on its baseline.
type stretch struct {
	candidate
	start, end         int
	startKind, endKind Limit
	base               line
	carried            []int // places, counted from this one, of the riders on it
	rider              bool
	shared             *float64 // area by fitted shapes
}

// peaks measures every candidate between its limits on the baseline asked for.
func (f *finder) peaks() ([]Peak, error) {
	found := f.candidates()
	if f.settings.Shoulders {
		found = f.withShoulders(found)
	}
	stretches := f.stretches(found)
	for first := 0; first < len(stretches); {
		last := first
		for last+1 < len(stretches) && stretches[last].endKind == LimitDrop && stretches[last+1].startKind == LimitDrop {
			last++
		}
		f.widen(stretches, first, last)
		f.ground(stretches[first : last+1])
		first = last + 1
	}
	if f.settings.Baseline == Set {
		if err := f.setLines(stretches); err != nil {
			return nil, err
		}
	}
	if f.settings.Baseline == "" || f.settings.Baseline == Shapes {
		f.divideGroups(stretches)
	}
	return f.measured(stretches), nil
}

// widen moves the outer limits of a group to where the signal is straight by the width of its
// tallest peak: a narrow peak on the tail of a wide one ends before that tail does.
func (f *finder) widen(all []stretch, first, last int) {
	tallest := first
	for i := first; i <= last; i++ {
		if all[i].prominence > all[tallest].prominence {
			tallest = i
		}
	}
	tall := all[tallest]
	if s := &all[last]; last > tallest && s.endKind == LimitBaseline {
		bound := len(f.smooth) - 1
		if last+1 < len(all) {
			bound = f.boundary(s.candidate, all[last+1].candidate)
		}
		if end := f.limit(candidate{at: s.at, prominence: tall.prominence}, 1, tall.right, bound); end < bound {
			s.end = max(s.end, end)
		}
	}
	if s := &all[first]; first < tallest && s.startKind == LimitBaseline {
		bound := 0
		if first > 0 {
			bound = f.boundary(all[first-1].candidate, s.candidate)
		}
		if start := f.limit(candidate{at: s.at, prominence: tall.prominence}, -1, tall.left, bound); start > bound {
			s.start = min(s.start, start)
		}
	}
}

// stretches gives the candidates their limits. A limit at a valley is a drop for now.
func (f *finder) stretches(found []candidate) []stretch {
	out := make([]stretch, len(found))
	leftBound := 0
	for i, c := range found {
		rightBound := len(f.smooth) - 1
		if i+1 < len(found) {
			rightBound = f.boundary(c, found[i+1])
		}
		s := stretch{candidate: c, startKind: LimitBaseline, endKind: LimitBaseline}
		s.start = f.limit(c, -1, c.left, leftBound)
		s.end = f.limit(c, 1, c.right, rightBound)
		switch {
		case s.start > leftBound:
		case i == 0:
			s.startKind = LimitEnd
		default:
			s.startKind = LimitDrop
		}
		switch {
		case s.end < rightBound:
		case i == len(found)-1:
			s.endKind = LimitEnd
		default:
			s.endKind = LimitDrop
		}
		out[i] = s
		leftBound = rightBound
	}
	return out
}

// divideGroups shares the area of neighbours that perpendiculars part.
func (f *finder) divideGroups(stretches []stretch) {
	for first := 0; first < len(stretches); {
		last := first
		for last+1 < len(stretches) && stretches[last].endKind == LimitDrop && stretches[last+1].startKind == LimitDrop {
			last++
		}
		for i, area := range f.share(stretches[first : last+1]) {
			stretches[first+i].shared = &area
		}
		first = last + 1
	}
}

// measured measures the stretches and keeps those that are peaks by the settings. What
// a rider that is none would have taken stays with the peak that carries it.
func (f *finder) measured(stretches []stretch) []Peak {
	all := make([]Peak, len(stretches))
	kept := make([]bool, len(stretches))
	for i, s := range stretches {
		if s.rider {
			all[i], kept[i] = f.measure(s)
		}
	}
	for i, s := range stretches {
		if s.rider {
			continue
		}
		all[i], kept[i] = f.measure(s)
		for _, r := range s.carried {
			if kept[i+r] {
				all[i].Area -= all[i+r].Area
				all[i].Skimmed = true
			}
		}
	}
	var out []Peak
	var from []stretch
	for i, p := range all {
		if kept[i] && p.Area > 0 {
			out, from = append(out, p), append(from, stretches[i])
		}
	}
	for i := 0; i+1 < len(out); i++ {
		f.separate(&out[i], out[i+1], from[i], from[i+1])
	}
	return out
}

// measure takes a peak's figures from the unsmoothed signal. ok is false when what is
// left over the baseline is no peak by the settings.
func (f *finder) measure(s stretch) (p Peak, ok bool) {
	if !(s.start < s.at && s.at < s.end) || !(f.times[s.end] > f.times[s.start]) {
		return Peak{}, false
	}
	over := make([]float64, s.end-s.start+1)
	for i := range over {
		over[i] = f.level[s.start+i] - s.base.at(f.times[s.start+i])
	}
	p = profile{times: f.times[s.start : s.end+1], over: over, at: s.at - s.start, sigma: f.sigma}.measure()
	p.StartKind, p.EndKind, p.Rider, p.Shoulder = s.startKind, s.endKind, s.rider, s.shoulder
	// What drift took off goes back on the levels given.
	p.BaselineStart = s.base.at(p.Start) + (f.raw[s.start] - f.level[s.start])
	p.BaselineEnd = s.base.at(p.End) + (f.raw[s.end] - f.level[s.end])
	if s.shared != nil {
		p.Area, p.Shared = *s.shared, true
	}
	wide := f.settings.MaxWidth == 0 || p.WidthHalf <= f.settings.MaxWidth
	return p, p.SignalToNoise >= f.settings.Threshold && p.WidthHalf >= f.settings.MinWidth && wide
}

// separate fills in what p has in common with the next peak.
func (f *finder) separate(p *Peak, next Peak, s, after stretch) {
	distance := next.Apex - p.Apex
	// The printed constants: exact would be 1.17741 for a Gaussian peak.
	p.Resolution = 1.18 * distance / (p.WidthHalf + next.WidthHalf)
	p.ResolutionTangent = 2 * distance / (p.WidthBase + next.WidthBase)
	valley := f.boundary(s.candidate, after.candidate)
	minor, height := s, p.Height
	if next.Height < height {
		minor, height = after, next.Height
	}
	bottom := f.valleyLevel(valley, min(s.right, after.left)) - minor.base.at(f.times[valley])
	if bottom > f.sigma {
		p.PeakToValley = height / bottom
	}
}
