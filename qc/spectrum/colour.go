package spectrum

import "math"

// Colour is the colour of a transmitting sample in CIE 1976 L*a*b* for illuminant D65
// and the 10° observer, relative to the perfect transmitter.
type Colour struct {
	X, Y, Z float64 // tristimulus values, Y of the perfect transmitter is 100
	L, A, B float64 // L*, a*, b*
}

// Chroma is C*ab, the distance from grey.
func (c Colour) Chroma() float64 { return math.Hypot(c.A, c.B) }

// Hue is the hue angle h_ab in degrees from 0 to 360; NaN of a grey.
func (c Colour) Hue() float64 {
	if c.A == 0 && c.B == 0 {
		return math.NaN()
	}
	h := math.Atan2(c.B, c.A) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}

// colourStep is the widest step in nm of a spectrum from which colour is computed; wider ones need
// weights of their own.
const colourStep = 10

// Colour computes colour from a spectrum of transmittances on a scale (Fraction or Percent) over
// wavelengths in nm, after CIE 15: tristimulus values are sums every 5 nm from 380 nm to
// 780 nm, L*a*b* by ISO/CIE 11664-4. Between points the spectrum is interpolated by
// straight lines; it must cover the whole range in steps of 10 nm or less.
func (s Spectrum) Colour(scale float64) (Colour, error) {
	if !(scale > 0) {
		return Colour{}, fail(ErrUndefined, "a transmittance scale of %v", scale)
	}
	if _, err := s.check(); err != nil {
		return Colour{}, err
	}
	for i := 1; i < len(s.X); i++ {
		low, high := min(s.X[i-1], s.X[i]), max(s.X[i-1], s.X[i])
		if high > d65TenDegree[0].nm && low < d65TenDegree[len(d65TenDegree)-1].nm && high-low > colourStep {
			return Colour{}, fail(ErrGap, "the spectrum has no point from %v to %v nm; colour needs one every %d nm", low, high, colourStep)
		}
	}
	grid := make([]float64, len(d65TenDegree))
	for i, row := range d65TenDegree {
		grid[i] = row.nm
	}
	t, err := s.Resample(grid, Linear)
	if err != nil {
		return Colour{}, err
	}
	var sample, white [3]float64
	for i, row := range d65TenDegree {
		if !finite(t.Y[i]) {
			return Colour{}, fail(ErrMissing, "the transmittance at %v nm is missing", row.nm)
		}
		for j, weight := range [3]float64{row.x, row.y, row.z} {
			white[j] += row.power * weight
			sample[j] += row.power * weight * t.Y[i] / scale
		}
	}
	var f [3]float64
	for j := range f {
		f[j] = labFunction(sample[j] / white[j])
	}
	k := 100 / white[1]
	return Colour{
		X: k * sample[0], Y: k * sample[1], Z: k * sample[2],
		L: 116*f[1] - 16, A: 500 * (f[0] - f[1]), B: 200 * (f[1] - f[2]),
	}, nil
}

// labFunction is f of ISO/CIE 11664-4: the cube root, and a line near black.
func labFunction(t float64) float64 {
	const delta = 6.0 / 29
	if t > delta*delta*delta {
		return math.Cbrt(t)
	}
	return t/(3*delta*delta) + 4.0/29
}
