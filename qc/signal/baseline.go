package signal

import (
	"fmt"
	"slices"
)

// ground gives a group of stretches, parted from each other by valleys alone, the
// baseline asked for.
func (f *finder) ground(group []stretch) {
	first, last := &group[0], &group[len(group)-1]
	if first.startKind == LimitDrop {
		first.startKind = LimitValley
	}
	if last.endKind == LimitDrop {
		last.endKind = LimitValley
	}
	if f.settings.Baseline == Valley {
		for i := range group {
			s := &group[i]
			if s.startKind == LimitDrop {
				s.startKind = LimitValley
			}
			if s.endKind == LimitDrop {
				s.endKind = LimitValley
			}
			s.base = f.between(s.start, s.end, f.startLevel(*s), f.endLevel(*s))
		}
		return
	}
	f.common(group, f.startLevel(*first), f.endLevel(*last))
}

func (f *finder) startLevel(s stretch) float64 {
	return f.limitLevel(s.start, s.left, s.startKind)
}

func (f *finder) endLevel(s stretch) float64 {
	return f.limitLevel(s.end, s.right, s.endKind)
}

// limitLevel gives the level from which a baseline starts. Valleys that are on a common
// baseline are flat, and their mean is surer than their bottom, the lowest of many noisy points.
func (f *finder) limitLevel(at int, halfWidth float64, kind Limit) float64 {
	if f.settings.Baseline == Valley && kind == LimitValley {
		return f.valleyLevel(at, halfWidth)
	}
	return f.baselineLevel(at, halfWidth, kind == LimitEnd)
}

func (f *finder) between(start, end int, from, to float64) line {
	return line{t0: f.times[start], y0: from, t1: f.times[end], y1: to}
}

// common lays one line under a group, and where a valley goes below it, by more than noise
// puts the lowest of many points, two lines that meet there.
func (f *finder) common(group []stretch, from, to float64) {
	last := len(group) - 1
	base := f.between(group[0].start, group[last].end, from, to)
	lowest, split, bottom := 0.0, -1, 0.0
	for i := range last {
		valley := group[i].end
		level := f.baselineLevel(valley, min(group[i].right, group[i+1].left), false)
		if over := level - base.at(f.times[valley]); over < min(lowest, -f.sigma/2) {
			lowest, split, bottom = over, i, level
		}
	}
	if split < 0 {
		for i := range group {
			group[i].base = base
		}
		if f.settings.Baseline == Skim {
			f.skim(group)
		}
		return
	}
	group[split].endKind, group[split+1].startKind = LimitValley, LimitValley
	f.common(group[:split+1], from, bottom)
	f.common(group[split+1:], bottom, to)
}

// skim puts the small peaks on either flank of the tallest of a group on tangents.
func (f *finder) skim(group []stretch) {
	height := func(s stretch) float64 { return f.smooth[s.at] - s.base.at(f.times[s.at]) }
	tallest := 0
	for i := range group {
		if height(group[i]) > height(group[tallest]) {
			tallest = i
		}
	}
	parent := &group[tallest]
	least := height(*parent) / f.settings.skimRatio()
	for i := tallest + 1; i < len(group) && height(group[i]) <= least; i++ {
		parent.end, parent.endKind = group[i].end, group[i].endKind
		f.tangent(&group[i], group[i].start, 1, group[i].end)
		parent.carried = append(parent.carried, i-tallest)
	}
	for i := tallest - 1; i >= 0 && height(group[i]) <= least; i-- {
		parent.start, parent.startKind = group[i].start, group[i].startKind
		f.tangent(&group[i], group[i].end, -1, group[i].start)
		parent.carried = append(parent.carried, i-tallest)
	}
}

// tangent puts a rider on the line from the valley at which it leaves the flank to the
// point between its apex and its far limit where that line touches the signal from below.
func (f *finder) tangent(s *stretch, valley, step, far int) {
	reach := min(s.left, s.right) / 2
	from := f.valleyLevel(valley, reach)
	touch, level, least := far, 0.0, 0.0
	for i := s.at + step; ; i += step {
		at := f.baselineLevel(i, reach, false)
		distance := (f.times[i] - f.times[valley]) * float64(step)
		if slope := (at - from) / distance; i == s.at+step || slope < least {
			touch, level, least = i, at, slope
		}
		if i == far {
			break
		}
	}
	s.rider = true
	if step > 0 {
		s.end, s.endKind, s.startKind = touch, LimitTangent, LimitValley
		s.base = f.between(valley, touch, from, level)
		return
	}
	s.start, s.startKind, s.endKind = touch, LimitTangent, LimitValley
	s.base = f.between(touch, valley, level, from)
}

// setLines puts the stretches with an apex within set times on the line between the
// signal's levels there.
func (f *finder) setLines(stretches []stretch) error {
	for _, l := range f.settings.Lines {
		base, err := f.levels(l)
		if err != nil {
			return fmt.Errorf("baseline: %w", err)
		}
		from, _ := slices.BinarySearch(f.times, l.From)
		till, there := slices.BinarySearch(f.times, l.To)
		if !there {
			till--
		}
		for i := range stretches {
			s := &stretches[i]
			if s.at < from || s.at > till {
				continue
			}
			s.base = base
			if s.startKind == LimitValley {
				s.startKind = LimitDrop
			}
			if s.endKind == LimitValley {
				s.endKind = LimitDrop
			}
			if s.start < from {
				s.start, s.startKind = from, LimitSet
			}
			if s.end > till {
				s.end, s.endKind = till, LimitSet
			}
		}
	}
	return nil
}

// levels gives the line between the levels of the smoothed signal at two times, each
// interpolated between points.
func (f *finder) levels(l Span) (line, error) {
	if !(l.From >= f.times[0] && l.To <= f.times[len(f.times)-1]) {
		return line{}, fmt.Errorf("%w: from %v to %v is not within the recording from %v to %v",
			ErrSpan, l.From, l.To, f.times[0], f.times[len(f.times)-1])
	}
	return line{t0: l.From, y0: interpolate(f.times, f.smooth, l.From), t1: l.To, y1: interpolate(f.times, f.smooth, l.To)}, nil
}

// interpolate gives the value at a time within the recording.
func interpolate(times, values []float64, at float64) float64 {
	i, there := slices.BinarySearch(times, at)
	if there {
		return values[i]
	}
	part := (at - times[i-1]) / (times[i] - times[i-1])
	return values[i-1] + part*(values[i]-values[i-1])
}
