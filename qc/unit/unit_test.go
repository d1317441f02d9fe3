package unit

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseNormalises(t *testing.T) {
	tests := map[string]struct {
		ucum   string
		kind   Kind
		factor float64
	}{
		"mg/L":               {"mg/L", Ordinary, 1e-3},
		"mg/l":               {"mg/L", Ordinary, 1e-3},
		"µg/L":               {"ug/L", Ordinary, 1e-6},
		"μg/L":               {"ug/L", Ordinary, 1e-6}, // Greek letter mu
		"ug/L":               {"ug/L", Ordinary, 1e-6},
		" mg / L ":           {"mg/L", Ordinary, 1e-3},
		"ng/L":               {"ng/L", Ordinary, 1e-9},
		"g/hL":               {"g/hL", Ordinary, 1e-2},
		"g/100 L":            {"g/hL", Ordinary, 1e-2},
		"g/100 mL":           {"g/dL", Ordinary, 10},
		"g/hL p.a.":          {"g/hL{pure_alcohol}", PureAlcohol, 1e-2},
		"g/hL{pure_alcohol}": {"g/hL{pure_alcohol}", PureAlcohol, 1e-2},
		"mg/L p.a.":          {"mg/L{pure_alcohol}", PureAlcohol, 1e-3},
		"% vol":              {"%{vol}", AlcoholVolume, 1e-2},
		"%{vol}":             {"%{vol}", AlcoholVolume, 1e-2},
		"1":                  {"1", Ordinary, 1},
		"%":                  {"%", Ordinary, 1e-2},
		"‰":                  {"[ppth]", Ordinary, 1e-3},
		"g/L":                {"g/L", Ordinary, 1},
		"kg/m³":              {"kg/m3", Ordinary, 1},
		"kg/m3":              {"kg/m3", Ordinary, 1},
		"g/cm³":              {"g/cm3", Ordinary, 1000},
		"g/mL":               {"g/mL", Ordinary, 1000},
		"µg/g":               {"ug/g", MassFraction, 1e-6},
		"mg/kg":              {"mg/kg", MassFraction, 1e-6},
		"g/100 g":            {"%{mass}", MassFraction, 1e-2},
		"min":                {"min", Ordinary, 60},
		"s":                  {"s", Ordinary, 1},
		"nm":                 {"nm", Ordinary, 1e-9},
		"cm-1":               {"cm-1", Ordinary, 100},
		"cm⁻¹":               {"cm-1", Ordinary, 100},
		"1/cm":               {"/cm", Ordinary, 100},
		"/cm":                {"/cm", Ordinary, 100},
		"m/z":                {"m/z", MassToCharge, 1},
		"counts":             {"{counts}", Counts, 1},
		"cps":                {"{counts}/s", Counts, 1},
		"counts/s":           {"{counts}/s", Counts, 1},
		"mAU":                {"m{AU}", Ordinary, 1e-3},
		"mAU*min":            {"m{AU}.min", Ordinary, 0.06},
		"pA·s":               {"pA.s", Ordinary, 1e-12},
		"mmol/L":             {"mmol/L", Ordinary, 1},
		"°C":                 {"Cel", CelsiusDegrees, 1},
		"mPa.s":              {"mPa.s", Ordinary, 1e-3},
		"µV·s":               {"uV.s", Ordinary, 1e-6},
	}
	for text, want := range tests {
		t.Run(text, func(t *testing.T) {
			u, err := Parse(text)
			if err != nil {
				t.Fatal(err)
			}
			if u.UCUM != want.ucum || u.Kind != want.kind || u.Factor() != want.factor || u.Text != text {
				t.Errorf("got UCUM %q, kind %q, factor %v, text %q; want %q, %q, %v", u.UCUM, u.Kind, u.Factor(), u.Text, want.ucum, want.kind, want.factor)
			}
			again, err := Parse(u.UCUM)
			if err != nil || again.UCUM != u.UCUM || !again.Convertible(u) || again.Factor() != u.Factor() {
				t.Errorf("the code %q reads as %+v, %v", u.UCUM, again, err)
			}
		})
	}
}

func TestParseRefuses(t *testing.T) {
	tests := map[string]string{
		"":           "the unit 1",
		"ppm":        "mg/L or mg/kg",
		"ppb":        "µg/L",
		"MG/L":       "letter case matters: mg/L",
		"proof":      "% vol",
		"mg/L/s":     "known are",
		"mg/":        "known are",
		"furlong":    "known are",
		"kmin":       "known are", // minutes take no prefix
		"m0":         "known are",
		"cm-":        "known are",
		"h.h.h.h":    "known are", // a factor must fit whole numbers
		"d3":         "known are",
		"m12":        "known are",
		"mol p.a.":   "known are",
		"mol/L p.a.": "mass per volume",
	}
	for text, words := range tests {
		t.Run(text, func(t *testing.T) {
			u, err := Parse(text)
			var unknown *UnknownError
			if !errors.As(err, &unknown) {
				t.Fatalf("got %+v, %v; want an UnknownError", u, err)
			}
			if unknown.Text != text || !strings.Contains(err.Error(), words) {
				t.Errorf("error %q names %q; want %q in it", err, unknown.Text, words)
			}
		})
	}
}

func TestConvert(t *testing.T) {
	tests := map[string]struct {
		value    float64
		from, to string
		want     float64
	}{
		"same":                {12.3, "mg/L", "mg/L", 12.3},
		"milli to micro":      {0.1, "mg/L", "µg/L", 100},
		"micro to milli":      {0.3, "µg/L", "mg/L", 0.0003},
		"gram per hectolitre": {40, "mg/L", "g/hL", 4},
		"back":                {4.1, "g/hL", "mg/L", 41},
		"density":             {0.948045, "g/cm³", "kg/m³", 948.045},
		"mass fractions":      {1.7, "µg/g", "mg/kg", 1.7},
		"mass per cent":       {0.25, "g/100 g", "mg/kg", 2500},
		"minutes":             {1.1, "min", "s", 66},
		"seconds":             {441, "s", "min", 7.35},
		"hours":               {90, "min", "h", 1.5},
		"per cent":            {4.5, "%", "1", 0.045},
		"permil":              {-26.91, "‰", "%", -2.691},
		"absorbance":          {123.4, "mAU", "1", 0.1234},
		"wavenumber":          {1, "cm-1", "/m", 100},
		"per alcohol":         {7.1, "mg/L p.a.", "g/hL p.a.", 0.71},
		"negative":            {-0.7, "ng/L", "µg/L", -0.0007},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := Convert(tt.value, tt.from, tt.to)
			if err != nil || got != tt.want {
				t.Errorf("Convert(%v, %s, %s) = %v, %v; want exactly %v", tt.value, tt.from, tt.to, got, err, tt.want)
			}
		})
	}
}

func TestConvertRefuses(t *testing.T) {
	tests := map[string]struct {
		value    float64
		from, to string
		words    string
	}{
		"per alcohol needs strength":  {1, "g/hL", "g/hL p.a.", "needs the alcoholic strength"},
		"and back":                    {1, "g/hL p.a.", "mg/L", "needs the alcoholic strength"},
		"amount of substance":         {1, "mmol/L", "mg/L", "dimensions differ"},
		"mass fraction":               {1, "mg/kg", "mg/L", "mass fraction"},
		"strength is no fraction":     {40, "% vol", "%", "alcoholic strength by volume"},
		"strength is no mass content": {40, "% vol", "g/100 g", "mass fraction"},
		"m/z is no number":            {40, "m/z", "1", "mass to charge"},
		"counts are no number":        {40, "counts", "1", "counts"},
		"Celsius is not linear":       {20, "°C", "K", "Celsius"},
		"count rate is no count":      {1, "cps", "counts", "dimensions differ"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := Convert(tt.value, tt.from, tt.to)
			var incompatible *IncompatibleError
			if !errors.As(err, &incompatible) || !strings.Contains(err.Error(), tt.words) {
				t.Errorf("got %v, %v; want an IncompatibleError with %q", got, err, tt.words)
			}
		})
	}
	for name, v := range map[string]float64{"NaN": math.NaN(), "infinity": math.Inf(-1), "overflow": math.MaxFloat64} {
		t.Run(name, func(t *testing.T) {
			var value *ValueError
			if got, err := Convert(v, "g/L", "ng/L"); !errors.As(err, &value) {
				t.Errorf("got %v, %v; want a ValueError", got, err)
			}
		})
	}
	var unknown *UnknownError
	if _, err := Convert(1, "mg/L", "smoot"); !errors.As(err, &unknown) || unknown.Text != "smoot" {
		t.Errorf("got %v; want the unit smoot unknown", err)
	}
}

// The oracle multiplies in exact rational arithmetic with factors written out here.
func TestConvertRoundsOnce(t *testing.T) {
	factors := map[string]*big.Rat{
		"g/L": big.NewRat(1, 1), "mg/L": big.NewRat(1, 1000), "ug/L": big.NewRat(1, 1e6), "ng/L": big.NewRat(1, 1e9),
		"g/hL": big.NewRat(1, 100), "kg/m3": big.NewRat(1, 1), "g/mL": big.NewRat(1000, 1), "mg/dL": big.NewRat(1, 100),
	}
	names := []string{"g/L", "mg/L", "ug/L", "ng/L", "g/hL", "kg/m3", "g/mL", "mg/dL"}
	times := map[string]*big.Rat{"s": big.NewRat(1, 1), "min": big.NewRat(60, 1), "h": big.NewRat(3600, 1), "ms": big.NewRat(1, 1000)}
	timeNames := []string{"s", "min", "h", "ms"}
	rapid.Check(t, func(t *rapid.T) {
		table, keys := factors, names
		if rapid.Bool().Draw(t, "time") {
			table, keys = times, timeNames
		}
		from, to := rapid.SampledFrom(keys).Draw(t, "from"), rapid.SampledFrom(keys).Draw(t, "to")
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "v")
		exact, ok := new(big.Rat).SetString(fmt.Sprint(v))
		if !ok {
			t.Fatalf("%v is no number", v)
		}
		exact.Mul(exact, table[from]).Quo(exact, table[to])
		want, _ := exact.Float64()
		if got, err := Convert(v, from, to); err != nil || got != want {
			t.Fatalf("Convert(%v, %s, %s) = %v, %v; want %v", v, from, to, got, err, want)
		}
	})
}

// A value written with up to 15 digits survives any way there and back over powers of ten.
func TestConvertThereAndBack(t *testing.T) {
	names := []string{"g/L", "mg/L", "ug/L", "ng/L", "g/hL", "kg/m3", "g/mL"}
	rapid.Check(t, func(t *rapid.T) {
		from, to := rapid.SampledFrom(names).Draw(t, "from"), rapid.SampledFrom(names).Draw(t, "to")
		digits, places := rapid.Int64Range(-1e15, 1e15).Draw(t, "digits"), rapid.IntRange(0, 18).Draw(t, "places")
		v, err := strconv.ParseFloat(fmt.Sprintf("%de-%d", digits, places), 64)
		if err != nil {
			t.Fatal(err)
		}
		there, err := Convert(v, from, to)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := Convert(there, to, from); err != nil || back != v {
			t.Fatalf("%v %s are %v %s and back %v, %v", v, from, there, to, back, err)
		}
	})
}

func TestPerAlcohol(t *testing.T) {
	tests := map[string]struct {
		conc     float64
		unit     string
		strength float64
		to       string
		want     float64
	}{
		// Definition: mg/L · 100 / (% vol) / 10.
		"methanol 40 mg/L at 40 % vol": {40, "mg/L", 40, "g/hL p.a.", 10},
		"pure alcohol":                 {12, "g/hL", 100, "g/hL p.a.", 12},
		"trace":                        {50, "µg/L", 50, "mg/L p.a.", 0.1},
		"grams per litre":              {4.2, "g/L", 42, "g/hL p.a.", 1000},
		"negative estimate":            {-0.4, "mg/L", 40, "g/hL p.a.", -0.1},
		"zero":                         {0, "mg/L", 40, "g/hL p.a.", 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := PerAlcohol(tt.conc, tt.unit, tt.strength, tt.to)
			if err != nil || got != tt.want {
				t.Errorf("got %v, %v; want exactly %v", got, err, tt.want)
			}
		})
	}
}

func TestPerAlcoholRefuses(t *testing.T) {
	for name, strength := range map[string]float64{"zero": 0, "negative": -1, "above 100": 100.0001, "NaN": math.NaN(), "infinite": math.Inf(1)} {
		t.Run("strength "+name, func(t *testing.T) {
			var value *ValueError
			if got, err := PerAlcohol(40, "mg/L", strength, "g/hL p.a."); !errors.As(err, &value) {
				t.Errorf("got %v, %v; want a ValueError", got, err)
			}
		})
	}
	var value *ValueError
	if _, err := PerAlcohol(math.NaN(), "mg/L", 40, "g/hL p.a."); !errors.As(err, &value) {
		t.Errorf("concentration NaN gives %v; want a ValueError", err)
	}
	for name, units := range map[string][2]string{
		"no volume":            {"mg/kg", "g/hL p.a."},
		"no mass":              {"mmol/L", "g/hL p.a."},
		"already per alcohol":  {"g/hL p.a.", "g/hL p.a."},
		"asked for as is":      {"mg/L", "g/hL"},
		"strength for a value": {"% vol", "g/hL p.a."},
	} {
		t.Run(name, func(t *testing.T) {
			var incompatible *IncompatibleError
			if got, err := PerAlcohol(40, units[0], 40, units[1]); !errors.As(err, &incompatible) {
				t.Errorf("got %v, %v; want an IncompatibleError", got, err)
			}
		})
	}
}

// Diluting a spirit with water changes concentration and strength alike, and not the value per pure alcohol.
func TestPerAlcoholIgnoresDilution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		conc := rapid.Float64Range(0.01, 5000).Draw(t, "mg/L")
		strength := rapid.Float64Range(1, 100).Draw(t, "% vol")
		part := rapid.Float64Range(0.05, 1).Draw(t, "part")
		neat, err := PerAlcohol(conc, "mg/L", strength, "g/hL p.a.")
		if err != nil {
			t.Fatal(err)
		}
		diluted, err := PerAlcohol(conc*part, "mg/L", strength*part, "g/hL p.a.")
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(diluted-neat) > 1e-14*neat {
			t.Fatalf("%v neat, %v diluted", neat, diluted)
		}
	})
}

// No text makes the parser panic, and what it accepts can be read again from its code.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"mg/L", "g/hL p.a.", "% vol", "cm-1", "mAU*min", "", "//", "-", "µ", "g.g.g/g"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		u, err := Parse(text)
		if err != nil {
			return
		}
		again, err := Parse(u.UCUM)
		if err != nil || again.UCUM != u.UCUM || !again.Convertible(u) {
			t.Errorf("%q has the code %q, which reads as %+v, %v", text, u.UCUM, again, err)
		}
	})
}
