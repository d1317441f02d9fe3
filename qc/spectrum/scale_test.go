package spectrum

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestNormalVariate(t *testing.T) {
	got, err := NormalVariate([]float64{1, 2, nan, 3})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{-1, 0, nan, 1} {
		if got[i] != want && !(math.IsNaN(want) && math.IsNaN(got[i])) {
			t.Errorf("point %d is %v, want %v", i, got[i], want)
		}
	}
	for name, y := range map[string][]float64{"none": nil, "one": {1, nan}, "constant": {2, 2, 2}, "all missing": {nan, nan}} {
		if _, err := NormalVariate(y); !errors.Is(err, ErrUndefined) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestScatterCorrection(t *testing.T) {
	reference := []float64{1, 2, 3, 4, nan}
	got, err := ScatterCorrection([]float64{2.5, nan, 6.5, 8.5, 1}, reference) // 0.5 + 2·reference
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{1, nan, 3, 4, 0.25} {
		if math.IsNaN(want) != math.IsNaN(got[i]) || math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("point %d is %v, want %v", i, got[i], want)
		}
	}
	for name, y := range map[string][]float64{"flat": {3, 3, 3, 3, 3}, "one point": {1, nan, nan, nan, 1}} {
		if _, err := ScatterCorrection(y, reference); !errors.Is(err, ErrUndefined) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ScatterCorrection([]float64{1, 2}, reference); !errors.Is(err, ErrAxis) {
		t.Errorf("another grid: %v", err)
	}
}

func TestAreaNormalised(t *testing.T) {
	s := Spectrum{X: []float64{4, 2, 1}, Y: []float64{2, 2, 4}, Unit: "nm"} // 4 + 3
	n, err := s.AreaNormalised()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "first", n.Y[0], 2.0/7, 1e-15)
	near(t, "last", n.Y[2], 4.0/7, 1e-15)
	for name, tt := range map[string]struct {
		y    []float64
		kind error
	}{"missing": {[]float64{1, nan, 1}, ErrMissing}, "zero": {[]float64{0, 0, 0}, ErrUndefined}, "negative": {[]float64{-1, -1, -1}, ErrUndefined}} {
		if _, err := (Spectrum{X: s.X, Y: tt.y}).AreaNormalised(); !errors.Is(err, tt.kind) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// An offset and a positive factor, as scatter makes them, take no part in what comes out.
func TestScalingLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := draw(t, 4)
		s.Y[0] = s.Y[1] + 1 // some spread
		offset, factor := rapid.Float64Range(-3, 3).Draw(t, "offset"), rapid.Float64Range(0.2, 5).Draw(t, "factor")
		moved := make([]float64, len(s.Y))
		for i, v := range s.Y {
			moved[i] = offset + factor*v
		}
		a, err := NormalVariate(s.Y)
		if err != nil {
			t.Fatal(err)
		}
		b, err := NormalVariate(moved)
		if err != nil {
			t.Fatal(err)
		}
		c, err := ScatterCorrection(moved, s.Y)
		if err != nil {
			t.Fatal(err)
		}
		var mean, squares float64
		for i := range a {
			if math.Abs(a[i]-b[i]) > 1e-9 || math.Abs(c[i]-s.Y[i]) > 1e-9 {
				t.Fatalf("point %d: %v and %v; corrected %v from %v", i, a[i], b[i], c[i], s.Y[i])
			}
			mean += a[i] / float64(len(a))
			squares += a[i] * a[i] / float64(len(a)-1)
		}
		if math.Abs(mean) > 1e-9 || math.Abs(squares-1) > 1e-9 {
			t.Fatalf("mean %v and variance %v", mean, squares)
		}
	})
}
