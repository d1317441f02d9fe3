// Package spectrum takes figures from spectra: ordinates, bands over a local baseline,
// derivatives, colour, and whole spectra on a fixed grid, scaled for comparison. A
// missing ordinate is NaN; it stays missing in every spectrum made from another, and a
// figure that would need it is refused. Nothing is extrapolated.
package spectrum

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Kinds of faults, for errors.Is. The messages say where.
var (
	// ErrOutside: a position is not within the recorded range.
	ErrOutside = errors.New("outside the recorded range")
	// ErrMissing: an ordinate that is needed is missing.
	ErrMissing = errors.New("an ordinate is missing")
	// ErrGap: the points next to a position are too far apart to say what is between.
	ErrGap = errors.New("a gap in the spectrum")
	// ErrAxis: the abscissa is empty, not finite, or does not rise or fall throughout.
	ErrAxis = errors.New("unusable abscissa")
	// ErrUneven: steps of the abscissa differ where even ones are needed.
	ErrUneven = errors.New("uneven steps")
	// ErrUndefined: the arithmetic has no result, such as a division by zero.
	ErrUndefined = errors.New("not defined")
)

type fault struct {
	kind error
	text string
}

func (f *fault) Error() string { return f.text }
func (f *fault) Unwrap() error { return f.kind }

func fail(kind error, format string, args ...any) error {
	return &fault{kind: kind, text: fmt.Sprintf(format, args...)}
}

// Spectrum has ordinates over an abscissa that rises or falls.
type Spectrum struct {
	X, Y []float64
	Unit string // of X, for messages
}

// gapFactor: a step wider than this many typical steps is a gap, and nothing is
// interpolated across it.
const gapFactor = 3

// check tells whether the abscissa rises, and refuses one that is not in order.
func (s Spectrum) check() (rising bool, err error) {
	n := len(s.X)
	if n == 0 || len(s.Y) != n {
		return false, fail(ErrAxis, "the spectrum has no points")
	}
	rising = s.X[n-1] >= s.X[0]
	for i, x := range s.X {
		if i > 0 && !(x != s.X[i-1] && x > s.X[i-1] == rising) || math.IsNaN(x) {
			return false, fail(ErrAxis, "the abscissa is not in order at point %d (%v after %v)", i+1, x, s.X[max(i-1, 0)])
		}
	}
	return rising, nil
}

func (s Spectrum) holds(at float64) error {
	n := len(s.X)
	if n == 0 || len(s.Y) != n {
		return fail(ErrAxis, "the spectrum has no points")
	}
	low, high := min(s.X[0], s.X[n-1]), max(s.X[0], s.X[n-1])
	if !(at >= low && at <= high) {
		return fail(ErrOutside, "%v %s is outside the recorded range from %v to %v", at, s.Unit, low, high)
	}
	return nil
}

// At gives the ordinate at a position, on the straight line between the neighbouring
// points. The errors are ErrOutside, ErrMissing, ErrGap and ErrAxis.
func (s Spectrum) At(at float64) (float64, error) {
	if err := s.holds(at); err != nil {
		return 0, err
	}
	rising, err := s.check()
	if err != nil {
		return 0, err
	}
	i, exact := s.search(at, rising)
	if exact {
		if !finite(s.Y[i]) {
			return 0, fail(ErrMissing, "the ordinate at %v %s is missing", at, s.Unit)
		}
		return s.Y[i], nil
	}
	if !finite(s.Y[i-1]) || !finite(s.Y[i]) {
		return 0, fail(ErrMissing, "an ordinate next to %v %s is missing (at %v or %v)", at, s.Unit, s.X[i-1], s.X[i])
	}
	if step, typical := math.Abs(s.X[i]-s.X[i-1]), s.typicalStep(); step > gapFactor*typical {
		return 0, fail(ErrGap, "%v %s lies in a gap of the spectrum from %v to %v, where points are typically %v apart",
			at, s.Unit, s.X[i-1], s.X[i], typical)
	}
	return s.line(i, at), nil
}

// search gives the first point at or beyond a position in the direction of recording.
func (s Spectrum) search(at float64, rising bool) (i int, exact bool) {
	return slices.BinarySearchFunc(s.X, at, func(point, at float64) int {
		switch {
		case point == at:
			return 0
		case point < at == rising:
			return -1
		}
		return 1
	})
}

// line interpolates between the points i-1 and i.
func (s Spectrum) line(i int, at float64) float64 {
	part := (at - s.X[i-1]) / (s.X[i] - s.X[i-1])
	return s.Y[i-1] + part*(s.Y[i]-s.Y[i-1])
}

// typicalStep is the median distance between neighbouring points.
func (s Spectrum) typicalStep() float64 {
	steps := make([]float64, len(s.X)-1)
	for i := range steps {
		steps[i] = math.Abs(s.X[i+1] - s.X[i])
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Evenness is how far a step may be from the mean step, as a part of it, for steps to
// be even: abscissae are often written with few decimals.
const Evenness = 1e-3

// Step gives the step of an even abscissa, negative where it falls, or ErrUneven.
func (s Spectrum) Step() (float64, error) {
	if _, err := s.check(); err != nil {
		return 0, err
	}
	n := len(s.X)
	if n < 2 {
		return 0, fail(ErrUneven, "one point has no step")
	}
	step := (s.X[n-1] - s.X[0]) / float64(n-1)
	for i := 1; i < n; i++ {
		if !(math.Abs(s.X[i]-s.X[i-1]-step) <= Evenness*math.Abs(step)) {
			return 0, fail(ErrUneven, "the step from %v to %v %s is not the mean step %v", s.X[i-1], s.X[i], s.Unit, step)
		}
	}
	return step, nil
}

// with gives a spectrum over the same abscissa.
func (s Spectrum) with(y []float64) Spectrum {
	return Spectrum{X: slices.Clone(s.X), Y: y, Unit: s.Unit}
}
