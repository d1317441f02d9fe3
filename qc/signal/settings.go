package signal

import (
	"fmt"
	"math"
)

// Baseline says what peaks stand on.
type Baseline string

const (
	// Shapes, the default: peaks that a valley parts stand on one common line from the
	// start of the first to the end of the last. A valley below that line becomes a point of
	// the baseline. The area over the line is divided between the peaks in proportion to
	// exponentially modified Gaussian shapes fitted to them; where such shapes do not
	// fit, at the valley by the perpendicular. What is divided is the signal as measured.
	Shapes Baseline = "fitted shapes"
	// Drop: as Shapes, but always divided by the perpendicular.
	Drop Baseline = "perpendicular drop"
	// Valley: each peak stands on the line between its own limits, valley to valley.
	Valley Baseline = "valley to valley"
	// Skim: as Drop, but small peaks on the flank of the tallest of a group (see
	// Settings.SkimRatio) stand on a tangent to the flank, and what is below the tangent
	// belongs to the tall peak.
	Skim Baseline = "tangent skim"
	// Set: peaks with an apex within one of Settings.Lines stand on the straight line
	// between the signal's levels at the two set times, divided by perpendiculars; other
	// peaks as with Drop.
	Set Baseline = "linear between set times"
)

// Span is a stretch of time.
type Span struct{ From, To float64 }

// Settings steer peak finding. The zero value of what is optional is the default.
type Settings struct {
	// Threshold is the least signal to noise of a peak; above 0.
	Threshold float64
	// MinWidth and MaxWidth are the least and the largest full width at half height of a
	// peak, in the unit of time. A MaxWidth of 0 is none.
	MinWidth, MaxWidth float64
	// Smoothing is the odd number of points of the quadratic Savitzky-Golay filter
	// used for finding peaks; 0 or 1 is none. Areas and heights come from the
	// unsmoothed signal.
	Smoothing int
	// Baseline is what peaks stand on; empty is Shapes.
	Baseline Baseline
	// Lines are the set times of the baseline Set, in order and apart.
	Lines []Span
	// SkimRatio is how many times taller than its rider a peak is at least for the rider
	// to be skimmed; 0 is DefaultSkimRatio.
	SkimRatio float64
	// Shoulders asks for bulges in a flank to be measured as peaks of their own.
	Shoulders bool
	// Noise is the stretch of time from which the noise is estimated, such as one
	// without peaks; nil is the whole signal.
	Noise *Span
}

// DefaultSkimRatio is the height ratio from which a rider is skimmed: common practice, no source.
const DefaultSkimRatio = 5

func (s Settings) check() error {
	if !(s.Threshold > 0) || math.IsInf(s.Threshold, 1) || !(s.MinWidth >= 0) {
		return fmt.Errorf("%w: threshold %v, least width %v", ErrSettings, s.Threshold, s.MinWidth)
	}
	if s.MaxWidth != 0 && !(s.MaxWidth > 0 && s.MaxWidth >= s.MinWidth) {
		return fmt.Errorf("%w: largest width %v with a least width of %v", ErrSettings, s.MaxWidth, s.MinWidth)
	}
	if s.SkimRatio != 0 && !(s.SkimRatio >= 1 && !math.IsInf(s.SkimRatio, 1)) {
		return fmt.Errorf("%w: skim ratio %v, want 1 or more", ErrSettings, s.SkimRatio)
	}
	switch s.Baseline {
	case "", Shapes, Drop, Valley, Skim:
		if len(s.Lines) > 0 {
			return fmt.Errorf("%w: set times are given, and the baseline is %q", ErrSettings, s.Baseline)
		}
	case Set:
		if len(s.Lines) == 0 {
			return fmt.Errorf("%w: the baseline %q needs set times", ErrSettings, s.Baseline)
		}
	default:
		return fmt.Errorf("%w: unknown baseline %q", ErrSettings, s.Baseline)
	}
	last := math.Inf(-1)
	for _, l := range s.Lines {
		if !(l.From >= last && l.To > l.From) || math.IsInf(l.From, 0) || math.IsInf(l.To, 0) {
			return fmt.Errorf("%w: baseline from %v to %v after %v", ErrSettings, l.From, l.To, last)
		}
		last = l.To
	}
	if n := s.Noise; n != nil && !(n.To > n.From) {
		return fmt.Errorf("%w: noise from %v to %v", ErrSettings, n.From, n.To)
	}
	return nil
}

func (s Settings) skimRatio() float64 {
	if s.SkimRatio == 0 {
		return DefaultSkimRatio
	}
	return s.SkimRatio
}
