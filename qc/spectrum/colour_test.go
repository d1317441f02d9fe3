package spectrum

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// visible gives transmittances from 380 nm to 780 nm.
func visible(step float64, t func(nm float64) float64) Spectrum {
	s := Spectrum{Unit: "nm"}
	for nm := 380.0; nm <= 780; nm += step {
		s.X, s.Y = append(s.X, nm), append(s.Y, t(nm))
	}
	return s
}

func colour(t testing.TB, s Spectrum, scale float64) Colour {
	t.Helper()
	c, err := s.Colour(scale)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestWhitePoint(t *testing.T) {
	c := colour(t, visible(5, func(float64) float64 { return 1 }), Fraction)
	near(t, "L*", c.L, 100, 1e-12)
	near(t, "a*", c.A, 0, 1e-12)
	near(t, "b*", c.B, 0, 1e-12)
	sum := c.X + c.Y + c.Z
	// Published for D65 and the 10° observer.
	near(t, "x", c.X/sum, 0.31382, 3e-5)
	near(t, "y", c.Y/sum, 0.33100, 3e-5)
	near(t, "X", c.X, 94.81, 0.005)
	near(t, "Z", c.Z, 107.32, 0.005)
	// The equal-energy sums of the observer are equal by its construction.
	var x, y, z float64
	for _, row := range d65TenDegree {
		x, y, z = x+row.x, y+row.y, z+row.z
	}
	near(t, "sum of x", x, y, 0.003)
	near(t, "sum of z", z, y, 0.003)
	for i, row := range d65TenDegree {
		if row.nm != 380+5*float64(i) {
			t.Errorf("row %d is for %v nm", i, row.nm)
		}
	}
}

// Smooth tables: a misplaced digit would stand out in the fourth differences.
func TestObserverIsSmooth(t *testing.T) {
	for name, column := range map[string]func(observer) float64{
		"x": func(o observer) float64 { return o.x }, "y": func(o observer) float64 { return o.y }, "z": func(o observer) float64 { return o.z },
	} {
		for i := 2; i+2 < len(d65TenDegree); i++ {
			v := func(k int) float64 { return column(d65TenDegree[i+k]) }
			if d := v(-2) - 4*v(-1) + 6*v(0) - 4*v(1) + v(2); math.Abs(d) > 0.09 {
				t.Errorf("%s at %v nm: fourth difference %v", name, d65TenDegree[i].nm, d)
			}
		}
	}
}

func TestColour(t *testing.T) {
	// L* of a grey follows from its transmittance alone (ISO/CIE 11664-4).
	for name, tt := range map[string]struct{ transmittance, l float64 }{
		"middle grey": {0.184186518512444, 50}, "near black": {0.008, 903.296296296296 * 0.008}, "black": {0, 0},
	} {
		c := colour(t, visible(1, func(float64) float64 { return 100 * tt.transmittance }), Percent)
		near(t, name+" L*", c.L, tt.l, 1e-9)
		near(t, name+" chroma", c.Chroma(), 0, 1e-9)
	}
	// What absorbs blue looks yellow to brown, as aged spirit does, and the more the darker.
	amber := func(strength float64) Colour {
		return colour(t, visible(2, func(nm float64) float64 { return math.Pow(10, -strength*math.Exp(-(nm-380)/90)) }), Fraction)
	}
	pale, dark := amber(0.5), amber(3)
	if !(pale.B > 5 && dark.B > pale.B && dark.L < pale.L && dark.A > pale.A && pale.Hue() > 85 && pale.Hue() < 115) {
		t.Errorf("pale %+v, dark %+v", pale, dark)
	}
	if h := (Colour{A: 1, B: -1}).Hue(); h != 315 {
		t.Errorf("hue %v", h)
	}
	if h := (Colour{}).Hue(); !math.IsNaN(h) {
		t.Errorf("a grey has the hue %v", h)
	}
}

func TestColourRefuses(t *testing.T) {
	clear := func(float64) float64 { return 1 }
	for name, tt := range map[string]struct {
		change func(*Spectrum)
		kind   error
	}{
		"short":   {func(s *Spectrum) { s.X, s.Y = s.X[1:], s.Y[1:] }, ErrOutside},
		"coarse":  {func(s *Spectrum) { *s = visible(20, clear) }, ErrGap},
		"hole":    {func(s *Spectrum) { s.X, s.Y = slices.Delete(s.X, 9, 12), slices.Delete(s.Y, 9, 12) }, ErrGap},
		"missing": {func(s *Spectrum) { s.Y[40] = nan }, ErrMissing},
		"empty":   {func(s *Spectrum) { *s = Spectrum{} }, ErrAxis},
	} {
		s := visible(5, clear)
		tt.change(&s)
		if _, err := s.Colour(Fraction); !errors.Is(err, tt.kind) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := visible(5, clear).Colour(nan); !errors.Is(err, ErrUndefined) {
		t.Errorf("scale: %v", err)
	}
}

// Colour does not depend on the direction of recording or on the scale, and lies within the solid.
func TestColourLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := visible(5, func(float64) float64 { return rapid.Float64Range(0, 1).Draw(t, "transmittance") })
		c, err := s.Colour(Fraction)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := s.reversed().Colour(Fraction); err != nil || math.Abs(back.L-c.L)+math.Abs(back.A-c.A)+math.Abs(back.B-c.B) > 1e-9 {
			t.Fatalf("reversed %+v, %v; want %+v", back, err, c)
		}
		per := s.with(slices.Clone(s.Y))
		for i := range per.Y {
			per.Y[i] *= 100
		}
		if p, err := per.Colour(Percent); err != nil || math.Abs(p.L-c.L)+math.Abs(p.A-c.A)+math.Abs(p.B-c.B) > 1e-9 {
			t.Fatalf("in per cent %+v, %v; want %+v", p, err, c)
		}
		if !(c.L >= 0 && c.L <= 100) {
			t.Fatalf("L* %v", c.L)
		}
	})
}
