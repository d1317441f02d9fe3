package uncertainty

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.10g, want %.10g within %g", what, got, want, within)
	}
}

func must(t testing.TB) func(float64, error) float64 {
	return func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// EURACHEM/CITAC, Quantifying Uncertainty in Analytical Measurement, example A1: a
// cadmium standard, c = 1000 m P / V in mg/L. The second edition prints 1002.7 mg/L, u_c
// 0.9, U 1.8 (k = 2) with u(V) rounded to 0.07 mL; the exact components give 0.835.
func TestCadmiumStandard(t *testing.T) {
	flask := must(t)(Triangular(0.1))
	warmth := must(t)(Rectangular(100 * 4 * 2.1e-4)) // 4 °C, expansion of water in 100 mL
	volume, err := CombineLinear(100, []Quantity{{Name: "calibration", Value: 0, Standard: flask}, {Name: "filling", Standard: 0.02}, {Name: "temperature", Standard: warmth}}, []float64{1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "u(V)", volume.Standard, 0.06647305, 5e-9)
	purity := must(t)(Rectangular(0.0001))
	near(t, "u(P)", purity, 0.000058, 5e-7)
	for name, c := range map[string]struct{ standard, want, tolerance float64 }{
		"volume rounded": {0.07, 0.8637, 5e-5},
		"volume exact":   {volume.Standard, 0.8352, 5e-5},
	} {
		t.Run(name, func(t *testing.T) {
			mass := Quantity{Name: "mass", Value: 100.28, Standard: 0.05}
			pure := Quantity{Name: "purity", Value: 0.9999, Standard: 0.000058}
			filled := Quantity{Name: "volume", Value: 100, Standard: c.standard}
			product, err := Product(Factor{Quantity{Name: "mL/L", Value: 1000}, 1}, Factor{mass, 1}, Factor{pure, 1}, Factor{filled, -1})
			if err != nil {
				t.Fatal(err)
			}
			numeric, err := Combine(func(x []float64) float64 { return 1000 * x[0] * x[1] / x[2] }, []Quantity{mass, pure, filled})
			if err != nil {
				t.Fatal(err)
			}
			near(t, "c", product.Value, 1002.6997, 5e-5)
			near(t, "c printed", product.Value, 1002.7, 0.05)
			near(t, "u_c", product.Standard, c.want, c.tolerance)
			near(t, "u_c printed", product.Standard, 0.9, 0.07)
			near(t, "u_c by numbers", numeric.Standard, product.Standard, 1e-6)
			expanded, err := product.Expand(2)
			if err != nil || expanded.CoverageFactor != 2 || expanded.Uncertainty != 2*product.Standard {
				t.Errorf("%+v, %v", expanded, err)
			}
			relative := must(t)(product.Relative())
			near(t, "relative", relative, math.Sqrt(math.Pow(0.05/100.28, 2)+math.Pow(0.000058/0.9999, 2)+math.Pow(c.standard/100, 2)), 1e-12)
			if got := numeric.Contributions[2]; got.Name != "volume" || !(got.Sensitivity < 0) {
				t.Errorf("%+v", got)
			}
		})
	}
}

// GUM H.1, end gauge: u_c is 32 nm, from 25, 9.7, 2.9 and 16.6 nm with 18, 25, 50 and 2
// degrees of freedom.
func TestEffectiveDegreesOfFreedom(t *testing.T) {
	b, err := CombineLinear(838, []Quantity{{"standard", 0, 25, 18}, {"difference", 0, 9.7, 25}, {"expansion", 0, 2.9, 50}, {"temperature", 0, 16.6, 2}}, []float64{1, 1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "u_c", b.Standard, 32, 0.5)
	near(t, "effective degrees of freedom", b.DF, 16, 1) // the guide truncates 16.7
	known, err := CombineLinear(1, []Quantity{{Standard: 3}, {Standard: 4}}, []float64{1, 1})
	if err != nil || known.Standard != 5 || !math.IsInf(known.DF, 1) {
		t.Errorf("%+v, %v", known, err)
	}
}

func TestDistributions(t *testing.T) {
	near(t, "rectangular", must(t)(Rectangular(0.3)), 0.173205, 5e-7)
	near(t, "triangular", must(t)(Triangular(0.3)), 0.122474, 5e-7)
	near(t, "normal", must(t)(Normal(0.3, 2)), 0.15, 0)
	for name, c := range map[string]struct {
		of   func() (float64, error)
		want error
	}{
		"negative width":     {func() (float64, error) { return Rectangular(-1) }, ErrNegative},
		"width not a number": {func() (float64, error) { return Triangular(math.NaN()) }, ErrNotFinite},
		"coverage of zero":   {func() (float64, error) { return Normal(1, 0) }, ErrZero},
		"negative coverage":  {func() (float64, error) { return Normal(1, -2) }, ErrNegative},
		"endless coverage":   {func() (float64, error) { return Normal(1, math.Inf(1)) }, ErrNotFinite},
	} {
		t.Run(name, func(t *testing.T) {
			if v, err := c.of(); !errors.Is(err, c.want) || v != 0 {
				t.Errorf("%v, %v", v, err)
			}
		})
	}
}

func TestRefused(t *testing.T) {
	good := Quantity{Name: "mass", Value: 1, Standard: 0.1}
	square := func(x []float64) float64 { return x[0] * x[0] }
	for name, c := range map[string]struct {
		of   func() (*Budget, error)
		want error
	}{
		"negative uncertainty": {func() (*Budget, error) { return Combine(square, []Quantity{{Value: 1, Standard: -1}}) }, ErrNegative},
		"value not a number":   {func() (*Budget, error) { return Combine(square, []Quantity{{Value: math.NaN()}}) }, ErrNotFinite},
		"model fails": {func() (*Budget, error) {
			return Combine(func(x []float64) float64 { return math.Sqrt(-x[0]) }, []Quantity{good})
		}, ErrNotFinite},
		"model fails beside the value": {func() (*Budget, error) {
			return Combine(func(x []float64) float64 { return math.Sqrt(x[0]) }, []Quantity{{Value: 1, Standard: 2}})
		}, ErrNotFinite},
		"one sensitivity too many": {func() (*Budget, error) { return CombineLinear(1, []Quantity{good}, []float64{1, 1}) }, ErrLengths},
		"product with zero":        {func() (*Budget, error) { return Product(Factor{Quantity{Value: 0, Standard: 1}, 1}) }, ErrZero},
	} {
		t.Run(name, func(t *testing.T) {
			if b, err := c.of(); !errors.Is(err, c.want) || b != nil {
				t.Errorf("%+v, %v", b, err)
			}
		})
	}
	zero := &Budget{Standard: 1}
	if _, err := zero.Relative(); !errors.Is(err, ErrZero) {
		t.Error(err)
	}
	for _, k := range []float64{0, -2} {
		if _, err := zero.Expand(k); !errors.Is(err, ErrNegative) {
			t.Error(err)
		}
	}
	if _, err := zero.Expand(math.NaN()); !errors.Is(err, ErrNotFinite) {
		t.Error(err)
	}
}

// A linear model has the same budget by numbers and by its sensitivities.
func TestLinearModelsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "inputs")
		inputs, c, value := make([]Quantity, n), make([]float64, n), 0.0
		for i := range inputs {
			inputs[i] = Quantity{Value: rapid.Float64Range(-10, 10).Draw(t, "x"), Standard: rapid.Float64Range(0.01, 1).Draw(t, "u")}
			c[i] = rapid.Float64Range(-5, 5).Draw(t, "c")
			value += c[i] * inputs[i].Value
		}
		numeric, err := Combine(func(x []float64) float64 {
			sum := 0.0
			for i := range x {
				sum += c[i] * x[i]
			}
			return sum
		}, inputs)
		if err != nil {
			t.Fatal(err)
		}
		exact, err := CombineLinear(value, inputs, c)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(numeric.Standard-exact.Standard) <= 1e-11) {
			t.Errorf("%v and %v", numeric.Standard, exact.Standard)
		}
	})
}
