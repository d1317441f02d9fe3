package calibration

import (
	"errors"
	"math"
	"slices"
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

func TestFluorescein(t *testing.T) {
	l, err := FitLine(fluoresceinX, fluoresceinY, WeightNone)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "slope", l.Slope, 1.93, 0.01)
	printed(t, "intercept", l.Intercept, 1.52, 0.01)
	printed(t, "s(y/x)", l.ResidualSD, 0.4329, 0.0002) // printed from rounded residuals
	printed(t, "s(b)", l.SESlope, 0.0409, 0.0001)
	printed(t, "s(a)", l.SEIntercept, 0.2950, 0.0002) // as above
	printed(t, "r", math.Sqrt(l.R2), 0.9989, 0.0001)
	// The same from the definitions in exact arithmetic.
	near(t, "slope", l.Slope, 1.930357143, 5e-10)
	near(t, "intercept", l.Intercept, 1.517857143, 5e-10)
	near(t, "s(y/x)", l.ResidualSD, 0.4328477132, 5e-10)
	near(t, "s(b)", l.SESlope, 0.04090026446, 5e-10)
	near(t, "s(a)", l.SEIntercept, 0.2949360014, 5e-10)
	near(t, "r", math.Sqrt(l.R2), 0.9988795653, 5e-10)
	if l.N != 7 || l.DF != 5 || l.Weight != WeightNone {
		t.Errorf("n %d, degrees of freedom %d, weight %q", l.N, l.DF, l.Weight)
	}
	for name, tt := range map[string]struct {
		response   float64
		replicates int
		amount, se float64 // printed
		exactSE    float64
	}{
		"low":             {2.9, 1, 0.72, 0.26, 0.26456977},
		"middle":          {13.5, 1, 6.21, 0.24, 0.23975422},
		"high":            {23.0, 1, 11.13, 0.26, 0.26319326},
		"middle, m is 4":  {13.5, 4, 6.21, 0.14, 0.14061336},
		"m is very large": {13.5, 1 << 40, 6.21, 0.08, 0.08475},
	} {
		t.Run(name, func(t *testing.T) {
			amount, err := l.Amount(tt.response)
			if err != nil {
				t.Fatal(err)
			}
			printed(t, "amount", amount, tt.amount, 0.01)
			se, err := l.AmountSE(tt.response, tt.replicates)
			if err != nil {
				t.Fatal(err)
			}
			printed(t, "s(x0)", se, tt.se, 0.01)
			if tt.replicates < 10 {
				near(t, "s(x0)", se, tt.exactSE, 5e-8)
			}
		})
	}
}

// Harvey, Modern Analytical Chemistry (2000), examples 5.10 and 5.11, with the standard
// deviations of example 5.13.
var (
	harveyX = []float64{0, 0.1, 0.2, 0.3, 0.4, 0.5}
	harveyY = []float64{0, 12.36, 24.83, 35.91, 48.79, 60.42}
)

func TestHarvey(t *testing.T) {
	l, err := FitLine(harveyX, harveyY, "")
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "slope", l.Slope, 120.706, 0.001)
	printed(t, "intercept", l.Intercept, 0.209, 0.001)
	printed(t, "s(r)", l.ResidualSD, 0.4035, 0.0006) // printed from rounded residuals
	printed(t, "s(b1)", l.SESlope, 0.965, 0.002)     // as above
	printed(t, "s(b0)", l.SEIntercept, 0.292, 0.001)
	near(t, "slope", l.Slope, 120.7057143, 5e-10)
	near(t, "intercept", l.Intercept, 0.2085714286, 5e-10)
	near(t, "s(r)", l.ResidualSD, 0.4032971255, 5e-10)
	near(t, "s(b1)", l.SESlope, 0.9640645249, 5e-10)
	near(t, "s(b0)", l.SEIntercept, 0.29188503, 2e-8)
	se, err := l.AmountSE((29.32+29.16+29.51)/3, 3)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "s(C)", se, 0.0024, 0.0001)
	near(t, "s(C)", se, 0.0023635881, 5e-8)
	amount, err := l.Amount((29.32 + 29.16 + 29.51) / 3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "C", amount, 0.24125973, 5e-8)
}

// Rows of the Ag standard addition of Miller & Miller, chapter 5: another set with outside values.
func TestStandardAdditionLine(t *testing.T) {
	l, err := FitLine([]float64{0, 5, 10, 15, 20, 25, 30}, []float64{0.32, 0.41, 0.52, 0.60, 0.70, 0.77, 0.89}, WeightNone)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", l.Slope, 0.01864285714, 5e-10)
	near(t, "intercept", l.Intercept, 0.3217857143, 5e-10)
	near(t, "s(y/x)", l.ResidualSD, 0.01092179996, 5e-10)
}

func TestFitLineRefuses(t *testing.T) {
	tests := map[string]struct {
		x, y   []float64
		weight string
		want   error
	}{
		"no points":                   {nil, nil, WeightNone, ErrTooFew},
		"two points":                  {[]float64{1, 2}, []float64{1, 2}, WeightNone, ErrTooFew},
		"lengths":                     {[]float64{1, 2, 3}, []float64{1, 2}, WeightNone, ErrLengths},
		"NaN amount":                  {[]float64{1, math.NaN(), 3}, []float64{1, 2, 3}, WeightNone, ErrNotFinite},
		"NaN response":                {[]float64{1, 2, 3}, []float64{1, 2, math.NaN()}, WeightNone, ErrNotFinite},
		"infinite response":           {[]float64{1, 2, 3}, []float64{1, 2, math.Inf(-1)}, WeightNone, ErrNotFinite},
		"one level":                   {[]float64{2, 2, 2, 2}, []float64{1, 2, 3, 4}, WeightNone, ErrOneLevel},
		"one level in effect":         {[]float64{1e17, 1e17, 1e17 + 16}, []float64{1, 2, 3}, WeightNone, ErrOneLevel},
		"flat":                        {[]float64{1, 2, 3}, []float64{5, 5, 5}, WeightNone, ErrFlat},
		"weight at zero":              {[]float64{0, 1, 2}, []float64{0, 1, 2}, WeightInverseX, ErrNoWeight},
		"square weight at zero":       {[]float64{0, 1, 2}, []float64{0, 1, 2}, WeightInverseXSq, ErrNoWeight},
		"weight below zero":           {[]float64{-1, 1, 2}, []float64{0, 1, 2}, WeightInverseXSq, ErrNoWeight},
		"weight not known":            {[]float64{1, 2, 3}, []float64{1, 2, 3}, "1/y", ErrWeighting},
		"weight beyond a double":      {[]float64{1e-200, 1, 2}, []float64{1, 2, 3}, WeightInverseXSq, ErrNotFinite},
		"residuals beyond a double":   {[]float64{1, 2, 3}, []float64{1e200, -1e200, 1e200}, WeightNone, ErrNotFinite},
		"coefficient beyond a double": {[]float64{1e-300, 2e-300, 3e-300}, []float64{1e10, 2e10, 3e10}, WeightNone, ErrNotFinite},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			l, err := FitLine(tt.x, tt.y, tt.weight)
			if !errors.Is(err, tt.want) || l != nil {
				t.Errorf("got %+v, %v; want %v", l, err, tt.want)
			}
		})
	}
}

func TestInverseRefuses(t *testing.T) {
	l, err := FitLine(fluoresceinX, fluoresceinY, WeightNone)
	if err != nil {
		t.Fatal(err)
	}
	weighted, err := FitLine(fluoresceinX[1:], fluoresceinY[1:], WeightInverseX)
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		call func() (float64, error)
		want error
	}{
		"amount of NaN":            {func() (float64, error) { return l.Amount(math.NaN()) }, ErrNotFinite},
		"amount of infinity":       {func() (float64, error) { return l.Amount(math.Inf(1)) }, ErrNotFinite},
		"response at NaN":          {func() (float64, error) { return l.Response(math.NaN()) }, ErrNotFinite},
		"error of NaN":             {func() (float64, error) { return l.AmountSE(math.NaN(), 1) }, ErrNotFinite},
		"error without replicates": {func() (float64, error) { return l.AmountSE(10, 0) }, ErrReplicates},
		"no weight below zero":     {func() (float64, error) { return weighted.AmountSE(-5, 1) }, ErrNoWeight},
		"flat":                     {func() (float64, error) { return (&Line{}).Amount(1) }, ErrFlat},
	} {
		t.Run(name, func(t *testing.T) {
			if got, err := tt.call(); !errors.Is(err, tt.want) {
				t.Errorf("got %v, %v; want %v", got, err, tt.want)
			}
		})
	}
}

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

func TestExactLineIsRecovered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		a, b := rapid.Float64Range(-100, 100).Draw(t, "a"), rapid.Float64Range(0.01, 1000).Draw(t, "b")
		y := make([]float64, len(x))
		for i := range x {
			y[i] = a + b*x[i]
		}
		l, err := FitLine(x, y, rapid.SampledFrom(weightings).Draw(t, "weight"))
		if err != nil {
			t.Fatal(err)
		}
		size := math.Abs(a) + b*slices.Max(x)
		if math.Abs(l.Intercept-a) > 1e-11*size || math.Abs(l.Slope-b)*slices.Max(x) > 1e-11*size || l.ResidualSD > 1e-11*size {
			t.Fatalf("%v + %v x fitted as %v + %v x, s %v", a, b, l.Intercept, l.Slope, l.ResidualSD)
		}
		for _, xi := range x {
			response, err := l.Response(xi)
			if err != nil {
				t.Fatal(err)
			}
			if amount, err := l.Amount(response); err != nil || math.Abs(amount-xi) > 1e-11*size/b {
				t.Fatalf("amount %v comes back as %v, %v", xi, amount, err)
			}
		}
	})
}

// y → c + k·y gives intercept c + k·a and slope k·b; the standard errors scale by |k|.
func TestResponseScaleAndShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		weight := rapid.SampledFrom(weightings).Draw(t, "weight")
		c, k := rapid.Float64Range(-20, 20).Draw(t, "c"), rapid.Float64Range(-8, 8).Draw(t, "k")
		if math.Abs(k) < 0.1 {
			return
		}
		moved := make([]float64, len(y))
		for i := range y {
			moved[i] = c + k*y[i]
		}
		l, m := fitBoth(t, x, y, x, moved, weight)
		size := math.Abs(c) + math.Abs(k)*largest(y)
		close(t, "intercept", m.Intercept, c+k*l.Intercept, 1e-10*size)
		close(t, "slope", m.Slope, k*l.Slope, 1e-10*size/x[0])
		close(t, "s(y/x)", m.ResidualSD, math.Abs(k)*l.ResidualSD, 1e-10*size)
		close(t, "s(b)", m.SESlope, math.Abs(k)*l.SESlope, 1e-10*size/x[0])
		close(t, "s(a)", m.SEIntercept, math.Abs(k)*l.SEIntercept, 1e-10*size)
		close(t, "r²", m.R2, l.R2, 1e-9)
	})
}

// x → k·x, as a change of unit does, divides the slope by k and leaves the intercept: for every
// weighting, because weights have mean 1. A power of two changes no bit.
func TestAmountScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		weight := rapid.SampledFrom(weightings).Draw(t, "weight")
		k := math.Ldexp(1, rapid.IntRange(-40, 40).Draw(t, "power of two"))
		scaled := make([]float64, len(x))
		for i := range x {
			scaled[i] = k * x[i]
		}
		l, m := fitBoth(t, x, y, scaled, y, weight)
		if m.Slope != l.Slope/k || m.Intercept != l.Intercept || m.ResidualSD != l.ResidualSD || m.SESlope != l.SESlope/k || m.SEIntercept != l.SEIntercept || m.R2 != l.R2 {
			t.Fatalf("%+v became %+v", l, m)
		}
	})
}

// Unweighted, x → x + c changes the intercept by -b·c and nothing else about the line.
func TestAmountShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		c := rapid.Float64Range(-50, 50).Draw(t, "c")
		shifted := make([]float64, len(x))
		for i := range x {
			shifted[i] = x[i] + c
		}
		l, m := fitBoth(t, x, y, shifted, y, WeightNone)
		size := largest(y) + math.Abs(l.Slope*c) + 1
		close(t, "slope", m.Slope, l.Slope, 1e-9*size/x[0])
		close(t, "intercept", m.Intercept, l.Intercept-l.Slope*c, 1e-9*size*(1+math.Abs(c)/x[0]))
		close(t, "s(y/x)", m.ResidualSD, l.ResidualSD, 1e-9*size)
	})
}

// Weights sum to n and fall as 1/x or 1/x² do; the weighted residuals are orthogonal to 1 and x, which defines the minimum.
func TestWeightedMinimum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := levels(t)
		y := scattered(t, x)
		power := rapid.IntRange(0, 2).Draw(t, "power")
		l, err := FitLine(x, y, weightings[power])
		if err != nil {
			t.Fatal(err)
		}
		var sum, first, second, size float64
		for i, w := range l.Weights {
			close(t, "weight ratio", w/l.Weights[0], math.Pow(x[0]/x[i], float64(power)), 1e-12)
			sum += w
			residual := y[i] - l.Intercept - l.Slope*x[i]
			first += w * residual
			second += w * residual * x[i]
			size += w * math.Abs(y[i]) * (1 + x[i])
		}
		close(t, "sum of weights", sum, float64(len(x)), 1e-11)
		close(t, "Σ w·residual", first, 0, 1e-11*size)
		close(t, "Σ w·residual·x", second, 0, 1e-11*size)
	})
}

// largest gives the largest magnitude, and at least 1.
func largest(values []float64) float64 {
	size := 1.0
	for _, v := range values {
		size = max(size, math.Abs(v))
	}
	return size
}

func fitBoth(t *rapid.T, x, y, x2, y2 []float64, weight string) (*Line, *Line) {
	l, err := FitLine(x, y, weight)
	if err != nil {
		t.Fatal(err)
	}
	m, err := FitLine(x2, y2, weight)
	if err != nil {
		t.Fatal(err)
	}
	return l, m
}

func close(t *rapid.T, what string, got, want, tolerance float64) {
	if !(math.Abs(got-want) <= tolerance) {
		t.Fatalf("%s is %v, want %v within %v", what, got, want, tolerance)
	}
}
