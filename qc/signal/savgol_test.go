package signal

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers/parserstest"
)

// fractions gives numerators over a norm as the nearest doubles.
func fractions(t *testing.T, numerators string, norm int64) []float64 {
	t.Helper()
	var out []float64
	for _, text := range strings.Fields(numerators) {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		f, _ := big.NewRat(n, norm).Float64()
		out = append(out, f)
	}
	return out
}

func compareWeights(t *testing.T, points, degree, derivative int, want []float64) {
	t.Helper()
	got, err := SavitzkyGolay(points, degree, derivative)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d weights, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("weight %d is %v, want %v", i, got[i], want[i])
		}
	}
}

// Published rows: Savitzky & Golay, Anal. Chem. 1964, 36, 1627, as corrected.
func TestSavitzkyGolayPublished(t *testing.T) {
	tests := map[string]struct {
		points, degree, derivative int
		norm                       int64
		numerators                 string
	}{
		"quadratic 5":                 {5, 2, 0, 35, "-3 12 17 12 -3"},
		"cubic 5 is the same":         {5, 3, 0, 35, "-3 12 17 12 -3"},
		"quadratic 7":                 {7, 2, 0, 21, "-2 3 6 7 6 3 -2"},
		"quadratic 9":                 {9, 2, 0, 231, "-21 14 39 54 59 54 39 14 -21"},
		"quartic 7":                   {7, 4, 0, 231, "5 -30 75 131 75 -30 5"},
		"quadratic first derivative":  {5, 2, 1, 10, "-2 -1 0 1 2"},
		"quadratic second derivative": {5, 2, 2, 7, "2 -1 -2 -1 2"},
		"mean":                        {3, 0, 0, 3, "1 1 1"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			compareWeights(t, tt.points, tt.degree, tt.derivative, fractions(t, tt.numerators, tt.norm))
		})
	}
}

func TestSavitzkyGolayTable(t *testing.T) {
	for _, row := range parserstest.Reference(t, "savgol.csv") {
		t.Run(strings.Join(row[:3], " "), func(t *testing.T) {
			n := make([]int, 4)
			for i := range n {
				var err error
				if n[i], err = strconv.Atoi(row[i]); err != nil {
					t.Fatal(err)
				}
			}
			compareWeights(t, n[0], n[1], n[2], fractions(t, row[4], int64(n[3])))
		})
	}
}

func TestSavitzkyGolayRefuses(t *testing.T) {
	for name, n := range map[string][3]int{
		"even": {4, 2, 0}, "one point": {1, 0, 0}, "too many": {203, 2, 0}, "negative": {-5, 2, 0},
		"degree too high": {5, 5, 0}, "derivative too high": {5, 2, 3}, "negative derivative": {5, 2, -1},
	} {
		t.Run(name, func(t *testing.T) {
			if w, err := SavitzkyGolay(n[0], n[1], n[2]); err == nil {
				t.Errorf("got %v", w)
			}
		})
	}
}

// A quadratic filter leaves every parabola unchanged, at the ends too.
func TestSmoothKeepsParabolas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := 2*rapid.IntRange(1, 10).Draw(t, "half") + 1
		n := rapid.IntRange(points, 60).Draw(t, "n")
		a, b, c := rapid.Float64Range(-9, 9).Draw(t, "a"), rapid.Float64Range(-9, 9).Draw(t, "b"), rapid.Float64Range(-1, 1).Draw(t, "c")
		values := make([]float64, n)
		for i := range values {
			values[i] = a + b*float64(i) + c*float64(i*i)
		}
		smooth, err := Smooth(values, points)
		if err != nil {
			t.Fatal(err)
		}
		for i := range values {
			if math.Abs(smooth[i]-values[i]) > 1e-9 {
				t.Fatalf("point %d of %d went from %v to %v", i, n, values[i], smooth[i])
			}
		}
	})
}

func TestSmoothCopies(t *testing.T) {
	values := []float64{1, 5, 2}
	for _, points := range []int{0, 1, 5} {
		smooth, err := Smooth(values, points)
		if err != nil {
			t.Fatal(err)
		}
		smooth[0] = 9
		if values[0] != 1 || smooth[1] != 5 {
			t.Errorf("%d points: got %v, source %v", points, smooth, values)
		}
	}
	for _, points := range []int{-3, 2, 4} {
		if _, err := Smooth(values, points); err == nil {
			t.Errorf("%d points are accepted", points)
		}
	}
	if _, err := Smooth([]float64{1, math.NaN(), 2, 3}, 3); err == nil {
		t.Error("NaN is accepted")
	}
}
