package calibration

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// near fails the test unless got is want within the relative tolerance.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s is %.15g, want %.15g within a relative %g", what, got, want, tolerance)
	}
}

// printed fails the test unless got rounds to what is printed, give or take half a unit of its last digit.
func printed(t *testing.T, what string, got, want, unitOfLastDigit float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 0.5*unitOfLastDigit*(1+1e-9)) {
		t.Errorf("%s is %.8g, printed is %v", what, got, want)
	}
}

// Fluorescein in pg/mL against fluorescence in arbitrary units: Miller & Miller,
// Statistics and Chemometrics for Analytical Chemistry, chapter 5.
var (
	fluoresceinX = []float64{0, 2, 4, 6, 8, 10, 12}
	fluoresceinY = []float64{2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7}
)

// Harvey, Modern Analytical Chemistry (2000), examples 5.10 and 5.11.
var (
	harveyX = []float64{0, 0.1, 0.2, 0.3, 0.4, 0.5}
	harveyY = []float64{0, 12.36, 24.83, 35.91, 48.79, 60.42}
)

var weightings = []string{WeightNone, WeightInverseX, WeightInverseXSq}

// levels draws distinct amounts above zero, as a calibration has.
func levels(t *rapid.T) []float64 {
	first := rapid.Float64Range(0.1, 10).Draw(t, "lowest")
	x := []float64{first}
	for range rapid.IntRange(2, 8).Draw(t, "more") {
		x = append(x, x[len(x)-1]*rapid.Float64Range(1.2, 3).Draw(t, "step"))
	}
	return x
}

func scattered(t *rapid.T, x []float64) []float64 {
	a, b := rapid.Float64Range(-5, 5).Draw(t, "a"), rapid.Float64Range(0.5, 50).Draw(t, "b")
	y := make([]float64, len(x))
	for i := range x {
		y[i] = a + b*x[i]*rapid.Float64Range(0.9, 1.1).Draw(t, "scatter")
	}
	return y
}

// largest gives the largest magnitude, and at least 1.
func largest(values []float64) float64 {
	size := 1.0
	for _, v := range values {
		size = max(size, math.Abs(v))
	}
	return size
}

func close(t *rapid.T, what string, got, want, tolerance float64) {
	if !(math.Abs(got-want) <= tolerance) {
		t.Fatalf("%s is %v, want %v within %v", what, got, want, tolerance)
	}
}
