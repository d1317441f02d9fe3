package spectrum

import (
	"math"
	"slices"
)

// BandHeight gives the ordinate at a position less the local baseline there, the
// straight line between the ordinates at two positions either side.
func (s Spectrum) BandHeight(at, from, to float64) (float64, error) {
	base, err := s.localBaseline(from, to)
	if err != nil {
		return 0, err
	}
	if !(at >= min(from, to) && at <= max(from, to)) {
		return 0, fail(ErrOutside, "the band position %v %s is not between %v and %v", at, s.Unit, from, to)
	}
	y, err := s.At(at)
	if err != nil {
		return 0, err
	}
	return y - base(at), nil
}

// BandArea gives the area between a spectrum and its local baseline, the straight line
// between the ordinates at two positions, by trapezoids, in units of the ordinate times the abscissa. It does not
// depend on the direction of either.
func (s Spectrum) BandArea(from, to float64) (float64, error) {
	base, err := s.localBaseline(from, to)
	if err != nil {
		return 0, err
	}
	low, high := min(from, to), max(from, to)
	var x, y []float64
	for i, at := range s.X {
		if at > low && at < high {
			x, y = append(x, at), append(y, s.Y[i])
		}
	}
	if len(x) > 1 && x[0] > x[len(x)-1] {
		slices.Reverse(x)
		slices.Reverse(y)
	}
	// Over its own ends the band has no height.
	x, y = append(append([]float64{low}, x...), high), append(append([]float64{base(low)}, y...), base(high))
	typical, area := s.typicalStep(), 0.0
	for i := 1; i < len(x); i++ {
		if !finite(y[i]) {
			return 0, fail(ErrMissing, "the ordinate at %v %s, within the band from %v to %v, is missing", x[i], s.Unit, low, high)
		}
		if x[i]-x[i-1] > gapFactor*typical {
			return 0, fail(ErrGap, "the band from %v to %v %s has a gap from %v to %v", low, high, s.Unit, x[i-1], x[i])
		}
		area += (y[i] - base(x[i]) + y[i-1] - base(x[i-1])) / 2 * (x[i] - x[i-1])
	}
	return area, nil
}

func (s Spectrum) localBaseline(from, to float64) (func(float64) float64, error) {
	if from == to {
		return nil, fail(ErrUndefined, "a local baseline from %v %s to itself", from, s.Unit)
	}
	a, err := s.At(from)
	if err != nil {
		return nil, err
	}
	b, err := s.At(to)
	if err != nil {
		return nil, err
	}
	return func(at float64) float64 { return a + (b-a)*(at-from)/(to-from) }, nil
}

// Ratio gives the quotient of two bands. It is ErrMissing when either is NaN, and
// ErrUndefined when the divisor is not above zero.
func Ratio(band, by float64) (float64, error) {
	switch {
	case !finite(band) || !finite(by):
		return 0, fail(ErrMissing, "the ratio of the bands %v and %v", band, by)
	case !(by > 0):
		return 0, fail(ErrUndefined, "the ratio of %v to a band of %v", band, by)
	}
	return band / by, nil
}

// Derivative filters a spectrum with even steps by the weights of a Savitzky-Golay
// derivative of the given order for steps of one (signal.SavitzkyGolay). The ordinates are per
// unit of the abscissa to the power of the order. Near the ends, and where an ordinate
// under the filter is missing, the derivative is missing.
func (s Spectrum) Derivative(weights []float64, order int) (Spectrum, error) {
	if len(weights)%2 == 0 || order < 0 {
		return Spectrum{}, fail(ErrUndefined, "a derivative of order %d by %d weights", order, len(weights))
	}
	step, err := s.Step()
	if err != nil {
		return Spectrum{}, err
	}
	half, scale := len(weights)/2, math.Pow(step, float64(order))
	y := make([]float64, len(s.Y))
	for i := range y {
		if i < half || i+half >= len(y) {
			y[i] = math.NaN()
			continue
		}
		for j, w := range weights {
			y[i] += w * s.Y[i-half+j]
		}
		y[i] /= scale
		if !finite(y[i]) {
			y[i] = math.NaN()
		}
	}
	return s.with(y), nil
}
