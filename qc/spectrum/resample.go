package spectrum

import (
	"math"
	"slices"
)

// Interpolation says how ordinates between points come about.
type Interpolation string

const (
	Linear Interpolation = "linear"
	// Monotone is the piecewise cubic of F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal.
	// 1980, 17, 238, with the slopes of F. N. Fritsch and J. Butland, SIAM J. Sci. Stat.
	// Comput. 1984, 5, 300: smooth, and never beyond the neighbouring points.
	Monotone Interpolation = "monotone"
)

// Resample gives the spectrum on a grid of positions that rises or falls. Positions next
// to a missing ordinate or in a gap are missing; a grid that goes beyond the recorded range is
// ErrOutside.
func (s Spectrum) Resample(grid []float64, how Interpolation) (Spectrum, error) {
	out := Spectrum{X: slices.Clone(grid), Y: make([]float64, len(grid)), Unit: s.Unit}
	if _, err := out.check(); err != nil {
		return Spectrum{}, err
	}
	rising, err := s.check()
	if err != nil {
		return Spectrum{}, err
	}
	var slopes []float64
	typical := math.Inf(1)
	if len(s.X) > 1 {
		typical = s.typicalStep()
	}
	switch how {
	case Linear:
	case Monotone:
		slopes = s.monotoneSlopes(gapFactor * typical)
	default:
		return Spectrum{}, fail(ErrUndefined, "unknown interpolation %q", how)
	}
	for i, at := range grid {
		if err := s.holds(at); err != nil {
			return Spectrum{}, err
		}
		j, exact := s.search(at, rising)
		switch {
		case exact:
			out.Y[i] = s.Y[j]
		case !s.joined(j, gapFactor*typical):
			out.Y[i] = math.NaN()
		case how == Linear:
			out.Y[i] = s.line(j, at)
		default:
			out.Y[i] = s.cubic(j, at, slopes)
		}
		if !finite(out.Y[i]) {
			out.Y[i] = math.NaN()
		}
	}
	return out, nil
}

// joined tells whether the points i-1 and i are there and near enough to interpolate.
func (s Spectrum) joined(i int, widest float64) bool {
	return finite(s.Y[i-1]) && finite(s.Y[i]) && math.Abs(s.X[i]-s.X[i-1]) <= widest
}

// monotoneSlopes gives the slope at each point, from the points that it is joined with.
func (s Spectrum) monotoneSlopes(widest float64) []float64 {
	slopes := make([]float64, len(s.X))
	secant := func(i int) float64 { return (s.Y[i] - s.Y[i-1]) / (s.X[i] - s.X[i-1]) }
	for i := range slopes {
		before, after := i > 0 && s.joined(i, widest), i+1 < len(s.X) && s.joined(i+1, widest)
		switch {
		case before && after:
			slopes[i] = inner(secant(i), secant(i+1), s.X[i]-s.X[i-1], s.X[i+1]-s.X[i])
		case before:
			slopes[i] = secant(i)
		case after:
			slopes[i] = secant(i + 1)
		}
	}
	return slopes
}

// inner is the weighted harmonic mean of two secants, 0 at a summit or a valley.
func inner(before, after, stepBefore, stepAfter float64) float64 {
	if !(before*after > 0) {
		return 0
	}
	w1, w2 := 2*stepAfter+stepBefore, stepAfter+2*stepBefore
	return (w1 + w2) / (w1/before + w2/after)
}

// cubic is the Hermite polynomial between the points i-1 and i.
func (s Spectrum) cubic(i int, at float64, slopes []float64) float64 {
	step := s.X[i] - s.X[i-1]
	t := (at - s.X[i-1]) / step
	return s.Y[i-1]*(1+2*t)*(1-t)*(1-t) + s.Y[i]*t*t*(3-2*t) + step*(slopes[i-1]*t*(1-t)*(1-t)-slopes[i]*t*t*(1-t))
}
