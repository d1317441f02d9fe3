package spectrum

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var nan = math.NaN()

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v within %g", what, got, want, tolerance)
	}
}

// draw gives an irregular spectrum that rises.
func draw(t *rapid.T, least int) Spectrum {
	s := Spectrum{Unit: "nm"}
	x := rapid.Float64Range(200, 400).Draw(t, "start")
	for range rapid.IntRange(least, 40).Draw(t, "points") {
		s.X, s.Y = append(s.X, x), append(s.Y, rapid.Float64Range(-2, 2).Draw(t, "y"))
		x += rapid.Float64Range(0.8, 1.2).Draw(t, "step")
	}
	return s
}

func (s Spectrum) reversed() Spectrum {
	r := Spectrum{X: slices.Clone(s.X), Y: slices.Clone(s.Y), Unit: s.Unit}
	slices.Reverse(r.X)
	slices.Reverse(r.Y)
	return r
}

func TestAt(t *testing.T) {
	s := Spectrum{X: []float64{400, 401, 402, 410, 411}, Y: []float64{1, 2, nan, 4, 6}, Unit: "nm"}
	for name, tt := range map[string]struct {
		at, want float64
		kind     error
	}{
		"point": {401, 2, nil}, "between": {400.25, 1.25, nil}, "last": {411, 6, nil}, "after the gap": {410.5, 5, nil},
		"missing": {402, 0, ErrMissing}, "beside missing": {401.5, 0, ErrMissing}, "outside": {399, 0, ErrOutside}, "NaN": {nan, 0, ErrOutside},
	} {
		t.Run(name, func(t *testing.T) {
			for _, s := range []Spectrum{s, s.reversed()} {
				got, err := s.At(tt.at)
				if got != tt.want || !errors.Is(err, tt.kind) {
					t.Errorf("got %v, %v; want %v, %v", got, err, tt.want, tt.kind)
				}
			}
		})
	}
	s.Y[2] = 3
	if _, err := s.At(405); !errors.Is(err, ErrGap) {
		t.Errorf("in a gap: %v", err)
	}
	for name, x := range map[string][]float64{"turns": {1, 2, 1.5}, "twice": {1, 1, 2}, "NaN": {1, nan, 2}, "NaN first": {nan, 1, 2}} {
		if _, err := (Spectrum{X: x, Y: make([]float64, 3)}).At(1.2); err == nil {
			t.Errorf("%s is accepted", name)
		}
	}
	if _, err := (Spectrum{}).At(1); !errors.Is(err, ErrAxis) {
		t.Errorf("empty: %v", err)
	}
}

// A triangle of height 3 on a sloping line, base from 2 to 6: exact by trapezoids.
func TestBand(t *testing.T) {
	s := Spectrum{Unit: "cm-1"}
	for x := 0.0; x <= 8; x++ {
		s.X, s.Y = append(s.X, x), append(s.Y, 1+0.5*x+max(0, 3-1.5*math.Abs(x-4)))
	}
	for _, s := range []Spectrum{s, s.reversed()} {
		height, err := s.BandHeight(4, 2, 6)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "height", height, 3, 1e-12)
		for _, ends := range [][2]float64{{2, 6}, {6, 2}, {1, 7}, {1.5, 6.5}} {
			area, err := s.BandArea(ends[0], ends[1])
			if err != nil {
				t.Fatal(err)
			}
			near(t, "area", area, 6, 1e-12)
		}
	}
	for name, tt := range map[string]struct {
		from, to float64
		kind     error
	}{"outside": {-1, 6, ErrOutside}, "one position": {2, 2, ErrUndefined}, "missing end": {2, 5, ErrMissing}, "missing within": {2, 7, ErrMissing}} {
		s := s.with(slices.Clone(s.Y))
		s.Y[5] = nan
		if _, err := s.BandArea(tt.from, tt.to); !errors.Is(err, tt.kind) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := s.BandHeight(7, 2, 6); !errors.Is(err, ErrOutside) {
		t.Errorf("position beside the band: %v", err)
	}
	gap := Spectrum{X: []float64{0, 1, 2, 9, 10, 11}, Y: make([]float64, 6)}
	if _, err := gap.BandArea(1, 10); !errors.Is(err, ErrGap) {
		t.Errorf("gap: %v", err)
	}
}

func TestRatio(t *testing.T) {
	for name, tt := range map[string]struct {
		a, b, want float64
		kind       error
	}{"plain": {3, 4, 0.75, nil}, "negative band": {-3, 4, -0.75, nil}, "by zero": {1, 0, 0, ErrUndefined}, "by less": {1, -1, 0, ErrUndefined},
		"missing": {nan, 1, 0, ErrMissing}, "by missing": {1, nan, 0, ErrMissing}} {
		if got, err := Ratio(tt.a, tt.b); got != tt.want || !errors.Is(err, tt.kind) {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
}

// Quadratic five-point filters (Savitzky and Golay 1964) are exact on parabolas.
func TestDerivative(t *testing.T) {
	first, second := []float64{-0.2, -0.1, 0, 0.1, 0.2}, []float64{2. / 7, -1. / 7, -2. / 7, -1. / 7, 2. / 7}
	s := Spectrum{Unit: "nm"}
	for i := range 12 {
		x := 400 + 0.5*float64(i)
		s.X, s.Y = append(s.X, x), append(s.Y, 3+2*(x-400)-0.25*(x-400)*(x-400))
	}
	for _, s := range []Spectrum{s, s.reversed()} {
		d1, err := s.Derivative(first, 1)
		if err != nil {
			t.Fatal(err)
		}
		d2, err := s.Derivative(second, 2)
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range s.X {
			if ends := i < 2 || i > 9; ends {
				if !math.IsNaN(d1.Y[i]) || !math.IsNaN(d2.Y[i]) {
					t.Errorf("derivatives %v and %v at the end", d1.Y[i], d2.Y[i])
				}
				continue
			}
			near(t, "first derivative", d1.Y[i], 2-0.5*(x-400), 1e-9)
			near(t, "second derivative", d2.Y[i], -0.5, 1e-9)
		}
	}
	s.Y[6] = nan
	d, err := s.Derivative(first, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i := range d.Y {
		if missing := i < 2 || i > 9 || i >= 4 && i <= 8; math.IsNaN(d.Y[i]) != missing {
			t.Errorf("point %d is %v with point 6 missing", i, d.Y[i])
		}
	}
	s.X[5] += 0.01
	if _, err := s.Derivative(first, 1); !errors.Is(err, ErrUneven) {
		t.Errorf("uneven: %v", err)
	}
	if _, err := s.Derivative(first[:4], 1); !errors.Is(err, ErrUndefined) {
		t.Errorf("even number of weights: %v", err)
	}
}

func TestAbsorbance(t *testing.T) {
	for name, tt := range map[string]struct{ transmittance, scale, want float64 }{
		"clear": {1, Fraction, 0}, "tenth": {0.1, Fraction, 1}, "per cent": {1, Percent, 2}, "half": {50, Percent, math.Log10(2)},
		"dark": {0, Fraction, nan}, "negative": {-0.001, Percent, nan}, "missing": {nan, Percent, nan}, "infinite": {math.Inf(1), Percent, nan},
	} {
		got := Absorbance(tt.transmittance, tt.scale)
		if math.IsNaN(tt.want) != math.IsNaN(got) || math.Abs(got-tt.want) > 1e-15 {
			t.Errorf("%s: got %v, want %v", name, got, tt.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, scale := rapid.Float64Range(-1, 6).Draw(t, "absorbance"), rapid.SampledFrom([]float64{Fraction, Percent}).Draw(t, "scale")
		if back := Absorbance(Transmittance(a, scale), scale); math.Abs(back-a) > 1e-14*(1+math.Abs(a)) {
			t.Fatalf("%v came back as %v", a, back)
		}
	})
	s := Spectrum{X: []float64{1, 2, 3}, Y: []float64{0.1, 0, nan}}
	if a := s.Absorbance(Fraction); a.Y[0] != 1 || !math.IsNaN(a.Y[1]) || !math.IsNaN(a.Y[2]) {
		t.Errorf("absorbances %v", a.Y)
	}
	if back := s.Absorbance(Fraction).Transmittance(Percent); math.Abs(back.Y[0]-10) > 1e-13 || !math.IsNaN(back.Y[2]) {
		t.Errorf("transmittances %v", back.Y)
	}
}

func TestPhenolicIndex(t *testing.T) {
	if got, err := PhenolicIndex(0.412, 50); err != nil || math.Abs(got-20.6) > 1e-12 {
		t.Errorf("got %v, %v", got, err)
	}
	for name, tt := range map[string]struct {
		a, dilution float64
		kind        error
	}{"missing": {nan, 50, ErrMissing}, "no dilution": {0.4, 0, ErrUndefined}, "NaN dilution": {0.4, nan, ErrUndefined}, "concentrated": {0.4, 0.5, ErrUndefined}} {
		if _, err := PhenolicIndex(tt.a, tt.dilution); !errors.Is(err, tt.kind) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
