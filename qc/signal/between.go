package signal

import (
	"fmt"
	"slices"
)

// Between integrates a signal between fixed limits, each window by itself, whether there
// is a peak in it or not. The baseline is the straight line between the levels of the smoothed
// signal at the limits, or that of Settings.Lines where one holds the window. Values at
// the limits are interpolated. Threshold and widths of the settings do not select:
// heights and areas may be negative. The apex is the highest point over the baseline.
func Between(times, values []float64, windows []Span, s Settings) (Result, error) {
	f, result, err := prepare(times, values, s)
	if err != nil {
		return Result{}, err
	}
	if f == nil {
		return Result{}, fmt.Errorf("%w: the signal is too short or constant", ErrSpan)
	}
	for i, w := range windows {
		p, err := f.fixed(w)
		if err != nil {
			return Result{}, fmt.Errorf("window %d: %w", i+1, err)
		}
		result.Peaks = append(result.Peaks, p)
	}
	return result, nil
}

func (f *finder) fixed(w Span) (Peak, error) {
	span := w
	for _, l := range f.settings.Lines {
		if l.From <= w.From && w.To <= l.To {
			span = l
		}
	}
	if !(w.To > w.From) {
		return Peak{}, fmt.Errorf("%w: from %v to %v", ErrSpan, w.From, w.To)
	}
	base, err := f.levels(span)
	if err != nil {
		return Peak{}, err
	}
	if _, err := f.levels(w); err != nil {
		return Peak{}, err
	}
	from, _ := slices.BinarySearch(f.times, w.From)
	till, there := slices.BinarySearch(f.times, w.To)
	if !there {
		till--
	}
	p := profile{sigma: f.sigma}
	add := func(t, level float64) {
		p.times, p.over = append(p.times, t), append(p.over, level-base.at(t))
	}
	if f.times[from] > w.From {
		add(w.From, interpolate(f.times, f.level, w.From))
	}
	for i := from; i <= till; i++ {
		add(f.times[i], f.level[i])
	}
	if f.times[till] < w.To {
		add(w.To, interpolate(f.times, f.level, w.To))
	}
	if len(p.times) < 3 {
		return Peak{}, fmt.Errorf("%w: %d points from %v to %v are too few", ErrSpan, len(p.times), w.From, w.To)
	}
	p.at = 1
	for i := 1; i < len(p.over)-1; i++ {
		if p.over[i] > p.over[p.at] {
			p.at = i
		}
	}
	out := p.measure()
	out.StartKind, out.EndKind = LimitSet, LimitSet
	out.BaselineStart = base.at(out.Start) + f.drift(out.Start)
	out.BaselineEnd = base.at(out.End) + f.drift(out.End)
	return out, nil
}

// drift gives what was taken off the signal at a time.
func (f *finder) drift(at float64) float64 {
	return interpolate(f.times, f.raw, at) - interpolate(f.times, f.level, at)
}
