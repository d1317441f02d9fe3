package spectrum

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func resample(t testing.TB, s Spectrum, grid []float64, how Interpolation) []float64 {
	t.Helper()
	out, err := s.Resample(grid, how)
	if err != nil {
		t.Fatal(err)
	}
	return out.Y
}

func TestResample(t *testing.T) {
	s := Spectrum{X: []float64{0, 1, 2, 3, 4, 5}, Y: []float64{0, 1, 4, nan, 16, 25}}
	got := resample(t, s, []float64{0.5, 1, 1.5, 2.5, 3, 3.5, 4.5, 5}, Linear)
	want := []float64{0.5, 1, 2.5, nan, nan, nan, 20.5, 25}
	for i := range want {
		if got[i] != want[i] && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
			t.Errorf("point %d is %v, want %v", i, got[i], want[i])
		}
	}
	// Between 1 and 2: slopes 3/(1/1+2/3)·… by hand: at 1 the secants 1 and 3 have the
	// weighted harmonic mean 6/(3/1+3/3) = 1.5, at 2 there is only the secant 3.
	near(t, "cubic", resample(t, s, []float64{1.5}, Monotone)[0], 0.5*1+0.5*4+(1.5-3)/8, 1e-12)
	if got := resample(t, s, []float64{2.5, 3.5}, Monotone); !math.IsNaN(got[0]) || !math.IsNaN(got[1]) {
		t.Errorf("beside a missing ordinate %v", got)
	}
	gap := Spectrum{X: []float64{0, 1, 2, 8, 9}, Y: []float64{1, 1, 1, 1, 1}}
	for _, how := range []Interpolation{Linear, Monotone} {
		if got := resample(t, gap, []float64{1.5, 5, 8.5}, how); got[0] != 1 || !math.IsNaN(got[1]) || got[2] != 1 {
			t.Errorf("%s over a gap %v", how, got)
		}
	}
	for name, tt := range map[string]struct {
		s    Spectrum
		grid []float64
		how  Interpolation
		kind error
	}{
		"below": {s, []float64{-0.1, 1}, Linear, ErrOutside}, "above": {s, []float64{1, 5.1}, Monotone, ErrOutside},
		"grid out of order": {s, []float64{1, 2, 1.5}, Linear, ErrAxis}, "no grid": {s, nil, Linear, ErrAxis},
		"no points": {Spectrum{}, []float64{1}, Linear, ErrAxis}, "unknown": {s, []float64{1}, "spline", ErrUndefined},
	} {
		if _, err := tt.s.Resample(tt.grid, tt.how); !errors.Is(err, tt.kind) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Resampling onto the spectrum's own grid changes nothing; between points no value leaves those of
// its neighbours; a straight line stays one; direction does not matter.
func TestResampleLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := draw(t, 3)
		how := rapid.SampledFrom([]Interpolation{Linear, Monotone}).Draw(t, "how")
		if same, err := s.Resample(s.X, how); err != nil || !slices.Equal(same.Y, s.Y) {
			t.Fatalf("own grid %v, %v", same.Y, err)
		}
		i := rapid.IntRange(1, len(s.X)-1).Draw(t, "interval")
		at := s.X[i-1] + rapid.Float64Range(0, 1).Draw(t, "part")*(s.X[i]-s.X[i-1])
		out, err := s.Resample([]float64{at}, how)
		if err != nil {
			t.Fatal(err)
		}
		low, high := min(s.Y[i-1], s.Y[i]), max(s.Y[i-1], s.Y[i])
		if v := out.Y[0]; !(v >= low-1e-12 && v <= high+1e-12) {
			t.Fatalf("%v at %v is not between %v and %v", v, at, low, high)
		}
		back, err := s.reversed().Resample([]float64{at}, how)
		if err != nil || math.Abs(back.Y[0]-out.Y[0]) > 1e-12 {
			t.Fatalf("reversed %v, %v; want %v", back.Y, err, out.Y)
		}
		line := s.with(slices.Clone(s.X))
		if v, err := line.Resample([]float64{at}, how); err != nil || math.Abs(v.Y[0]-at) > 1e-10 {
			t.Fatalf("line %v at %v, %v", v.Y, at, err)
		}
	})
}
