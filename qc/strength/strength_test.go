package strength

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers/parserstest"
)

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.13g, want %.13g within %g", what, got, want, within)
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

// Densities of mixtures at 20 °C in kg/m³ as published with two decimals, by % vol.
var published = map[float64]float64{
	10: 984.71, 20: 973.56, 30: 962.21, 40: 948.05, 50: 930.14, 60: 909.11, 70: 885.56, 80: 859.27, 90: 829.18, 91: 825.83,
	92: 822.39, 93: 818.85, 94: 815.18, 95: 811.38, 96: 807.42, 97: 803.27, 98: 798.90, 99: 794.25, 100: 789.24,
}

func TestPublishedDensities(t *testing.T) {
	for abv, want := range published {
		near(t, strconv.FormatFloat(abv, 'g', -1, 64)+" % vol", must(t)(DensityOf(abv, 20)), want, 0.005)
		if abv < 100 {
			near(t, "strength", must(t)(OfDensity(want, 20)), abv, 0.005)
		}
	}
}

// Values of the formula with all its digits.
func TestKeyPoints(t *testing.T) {
	for name, c := range map[string]struct{ abv, density, massPercent float64 }{
		"water":    {0, 998.20123, 0},
		"40 % vol": {40, 948.0451529, 33.29964278},
		"43 % vol": {43, 943.0565121, 35.98647787},
		"46 % vol": {46, 937.7304384, 38.7158166},
		"50 % vol": {50, 930.1418719, 42.42573886},
		"96 % vol": {96, 807.4196325, 93.83838687},
		"ethanol":  {100, 789.2391233, 100},
	} {
		t.Run(name, func(t *testing.T) {
			near(t, "density", must(t)(DensityOf(c.abv, 20)), c.density, 6e-8)
			near(t, "mass fraction in %", 100*must(t)(MassFractionOf(c.abv)), c.massPercent, 6e-9)
		})
	}
}

// One % vol is 7.8924 g/L of ethanol, 40 % vol are 315.70 g/L.
func TestGramsPerLitre(t *testing.T) {
	p := must(t)(MassFractionOf(40))
	near(t, "g/L at 40 % vol", p*must(t)(Density(p, 20)), 315.70, 0.005)
}

func TestTableOfDensities(t *testing.T) {
	rows := parserstest.Reference(t, "oiml_r22_density20.csv")
	for _, row := range rows {
		abv := number(t, row[0])
		p := must(t)(MassFractionOf(abv))
		near(t, row[0]+" % vol, mass %", 100*p, number(t, row[1]), 6e-9)
		for i, temperature := range []float64{20, 15, 25} {
			near(t, row[0]+" % vol, density", must(t)(Density(p, temperature)), number(t, row[2+i]), 6e-8)
			near(t, row[0]+" % vol back", must(t)(OfDensity(must(t)(Density(p, temperature)), temperature)), abv, 1e-9)
		}
	}
	if len(rows) != 201 {
		t.Errorf("%d rows, want 201", len(rows))
	}
}

func TestCoefficientsAsPublished(t *testing.T) {
	seen := 0
	for _, row := range parserstest.Reference(t, "oiml_r22_coefficients.csv") {
		k, err := strconv.Atoi(row[1])
		if err != nil {
			t.Fatal(err)
		}
		lists := map[string][]float64{"A": coefficientsA[:], "B": coefficientsB[:], "C1": coefficientsC[0], "C2": coefficientsC[1],
			"C3": coefficientsC[2], "C4": coefficientsC[3], "C5": coefficientsC[4]}
		if got := lists[row[0]][k-1]; got != number(t, row[2]) {
			t.Errorf("%s%d is %v, published %s", row[0], k, got, row[2])
		}
		seen++
	}
	if seen != 12+6+11+10+9+4+2 {
		t.Errorf("%d coefficients", seen)
	}
}

// The formula's terms one by one, in the order of their definition.
func TestAgainstTheDefinition(t *testing.T) {
	for _, temperature := range []float64{-20, -3.5, 0, 15, 20, 31.25, 40} {
		for _, p := range []float64{0, 0.05, 0.333, 0.5, 0.8, 1} {
			d, want := temperature-20, 0.0
			for k, a := range coefficientsA {
				want += a * math.Pow(p, float64(k))
			}
			for k, b := range coefficientsB {
				want += b * math.Pow(d, float64(k+1))
			}
			for i, row := range coefficientsC {
				for k, c := range row {
					want += c * math.Pow(p, float64(k+1)) * math.Pow(d, float64(i+1))
				}
			}
			near(t, "density", must(t)(Density(p, temperature)), want, 1e-9)
		}
	}
}

// TestDensityFalls is what makes the inverse unique.
func TestDensityFalls(t *testing.T) {
	for temperature := -20.0; temperature <= 40; temperature++ {
		for i := range 1000 {
			a, b := must(t)(Density(float64(i)/1000, temperature)), must(t)(Density(float64(i+1)/1000, temperature))
			if !(b < a) {
				t.Fatalf("at %v °C and mass fraction %v the density does not fall", temperature, float64(i)/1000)
			}
		}
	}
}

func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		temperature := rapid.Float64Range(-20, 40).Draw(t, "temperature")
		p := rapid.Float64Range(0.001, 1).Draw(t, "mass fraction")
		rho, err := Density(p, temperature)
		if err != nil {
			t.Fatal(err)
		}
		back, err := MassFraction(rho, temperature)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(back-p) <= 1e-12) { // a density near 1000 resolves no more
			t.Errorf("mass fraction %v comes back as %v", p, back)
		}
		again, err := Density(back, temperature)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(again-rho) <= 1e-12*rho) {
			t.Errorf("density %v comes back as %v", rho, again)
		}
		abv := rapid.Float64Range(0.001, 100).Draw(t, "strength")
		of, err := MassFractionOf(abv)
		if err != nil {
			t.Fatal(err)
		}
		volume, err := ByVolume(of)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(volume-abv) <= 1e-12*abv) {
			t.Errorf("strength %v comes back as %v", abv, volume)
		}
	})
}

func TestRefused(t *testing.T) {
	two := func(f func(float64, float64) (float64, error), a, b float64) func() (float64, error) {
		return func() (float64, error) { return f(a, b) }
	}
	one := func(f func(float64) (float64, error), a float64) func() (float64, error) {
		return func() (float64, error) { return f(a) }
	}
	nan := math.NaN()
	for name, c := range map[string]struct {
		ask      func() (float64, error)
		quantity string
	}{
		"too cold":                    {two(Density, 0.3, -20.01), "temperature"},
		"too warm":                    {two(OfDensity, 948, 40.01), "temperature"},
		"temperature not a number":    {two(MassFraction, 948, nan), "temperature"},
		"temperature infinite":        {two(DensityOf, 40, math.Inf(1)), "temperature"},
		"mass fraction in percent":    {two(Density, 33.3, 20), "mass fraction"},
		"negative mass fraction":      {one(ByVolume, -1e-9), "mass fraction"},
		"strength above 100":          {one(MassFractionOf, 100.1), "strength"},
		"negative strength":           {two(DensityOf, -0.1, 20), "strength"},
		"strength not a number":       {one(MassFractionOf, nan), "strength"},
		"density in g/cm³":            {two(OfDensity, 0.94805, 20), "density at 20 °C"},
		"denser than water":           {two(OfDensity, 998.3, 20), "density at 20 °C"},
		"lighter than ethanol":        {two(MassFraction, 789.2, 20), "density at 20 °C"},
		"density not a number":        {two(MassFraction, nan, 20), "density at 20 °C"},
		"water of 20 °C called 40 °C": {two(MassFraction, 998.2, 40), "density at 40 °C"},
	} {
		t.Run(name, func(t *testing.T) {
			v, err := c.ask()
			var refused *RangeError
			if !errors.As(err, &refused) || refused.Quantity != c.quantity || v != 0 {
				t.Errorf("%v, %v", v, err)
			}
		})
	}
	for _, edge := range []float64{MinTemperature, MaxTemperature} {
		must(t)(DensityOf(0, edge))
		must(t)(OfDensity(must(t)(DensityOf(100, edge)), edge))
	}
}
