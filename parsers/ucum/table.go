package ucum

import (
	"slices"
	"strings"
)

// atoms are the units that others are built from, by symbol.
var atoms = map[string]Unit{
	"g":        {UCUM: "g", Dimension: Dimension{Mass: 1}, Numerator: 1, Denominator: 1, Power: -3},
	"L":        {UCUM: "L", Dimension: Dimension{Length: 3}, Numerator: 1, Denominator: 1, Power: -3},
	"l":        {UCUM: "L", Dimension: Dimension{Length: 3}, Numerator: 1, Denominator: 1, Power: -3},
	"m":        {UCUM: "m", Dimension: Dimension{Length: 1}, Numerator: 1, Denominator: 1},
	"s":        {UCUM: "s", Dimension: Dimension{Time: 1}, Numerator: 1, Denominator: 1},
	"min":      {UCUM: "min", Dimension: Dimension{Time: 1}, Numerator: 60, Denominator: 1},
	"h":        {UCUM: "h", Dimension: Dimension{Time: 1}, Numerator: 3600, Denominator: 1},
	"d":        {UCUM: "d", Dimension: Dimension{Time: 1}, Numerator: 86400, Denominator: 1},
	"mol":      {UCUM: "mol", Dimension: Dimension{Substance: 1}, Numerator: 1, Denominator: 1},
	"K":        {UCUM: "K", Dimension: Dimension{Temperature: 1}, Numerator: 1, Denominator: 1},
	"A":        {UCUM: "A", Dimension: Dimension{Current: 1}, Numerator: 1, Denominator: 1},
	"V":        {UCUM: "V", Dimension: Dimension{Length: 2, Mass: 1, Time: -3, Current: -1}, Numerator: 1, Denominator: 1},
	"Pa":       {UCUM: "Pa", Dimension: Dimension{Length: -1, Mass: 1, Time: -2}, Numerator: 1, Denominator: 1},
	"Hz":       {UCUM: "Hz", Dimension: Dimension{Time: -1}, Numerator: 1, Denominator: 1},
	"AU":       {UCUM: "{AU}", Numerator: 1, Denominator: 1},
	"{AU}":     {UCUM: "{AU}", Numerator: 1, Denominator: 1},
	"count":    {UCUM: "{counts}", Kind: Counts, Numerator: 1, Denominator: 1},
	"counts":   {UCUM: "{counts}", Kind: Counts, Numerator: 1, Denominator: 1},
	"{counts}": {UCUM: "{counts}", Kind: Counts, Numerator: 1, Denominator: 1},
}

// metric are the symbols in atoms that take prefixes.
var metric = map[string]bool{
	"g": true, "L": true, "l": true, "m": true, "s": true, "mol": true, "K": true,
	"A": true, "V": true, "Pa": true, "Hz": true, "AU": true, "{AU}": true,
}

var prefixes = []struct {
	symbol string
	power  int
}{
	{"M", 6}, {"k", 3}, {"h", 2}, {"d", -1}, {"c", -2}, {"m", -3}, {"u", -6}, {"n", -9}, {"p", -12}, {"f", -15},
}

// named are units that no rule builds, by their tidied text.
var named = func() map[string]Unit {
	one := func(ucum string, kind Kind, power int) Unit {
		return Unit{UCUM: ucum, Kind: kind, Numerator: 1, Denominator: 1, Power: power}
	}
	perPoint := func(ucum string, power int) Unit {
		return Unit{UCUM: ucum, Dimension: Dimension{Length: -3, Mass: 1}, Numerator: 1, Denominator: 1, Power: power}
	}
	units := map[string]Unit{}
	add := func(u Unit, spellings ...string) {
		for _, s := range spellings {
			units[s] = u
		}
	}
	add(one("1", Ordinary, 0), "1", "{1}")
	add(one("%", Ordinary, -2), "%", "percent")
	add(one("[ppth]", Ordinary, -3), "‰", "permil", "[ppth]")
	add(one("%{vol}", AlcoholVolume, -2), "%{vol}", "%vol", "%vol.", "%v/v", "%(v/v)")
	add(one("%{mass}", MassFraction, -2), "%{mass}", "%mass", "%w/w", "%m/m", "%(w/w)", "%(m/m)", "g/100g")
	add(one("m/z", MassToCharge, 0), "m/z", "{m/z}")
	add(one("{counts}", Counts, 0), "{count}")
	add(Unit{UCUM: "{counts}/s", Kind: Counts, Dimension: Dimension{Time: -1}, Numerator: 1, Denominator: 1}, "cps", "{cps}")
	add(Unit{UCUM: "Cel", Kind: CelsiusDegrees, Dimension: Dimension{Temperature: 1}, Numerator: 1, Denominator: 1}, "°C", "℃", "Cel", "degC")
	add(perPoint("g/dL", 1), "g/100mL", "g/100ml")
	add(perPoint("mg/dL", -2), "mg/100mL", "mg/100ml")
	add(perPoint("g/hL", -2), "g/100L", "g/100l")
	// UCUM's own spellings of scaled absorbance.
	add(one("m{AU}", Ordinary, -3), "m{AU}", "mAU")
	return units
}()

// ambiguous are texts that people write and that do not say enough.
var ambiguous = map[string]string{
	"ppm":   "parts per million do not say of what; write mg/L or mg/kg",
	"ppb":   "parts per billion do not say of what; write µg/L or µg/kg",
	"ppt":   "it can be parts per thousand or per trillion; write ‰ or ng/L",
	"proof": "proof has several definitions; write % vol",
	"°":     "write % vol for a strength or °C for a temperature",
	"M":     "write mol/L",
	"sec":   "write s",
	"mins":  "write min",
	"":      "the unit is empty; a plain number has the unit 1",
}

// common are the units named in hints.
var common = []string{
	"mg/L", "µg/L", "ng/L", "g/L", "g/hL", "g/hL p.a.", "% vol", "%", "1", "mg/kg", "µg/g",
	"kg/m³", "g/cm³", "g/mL", "mmol/L", "min", "s", "nm", "cm-1", "m/z", "counts", "counts/s", "°C",
}

// hint says what may have been meant by an unknown unit.
func hint(clean string) string {
	if h, ok := ambiguous[clean]; ok {
		return h
	}
	for _, c := range common {
		if strings.EqualFold(tidy(c), clean) {
			return "letter case matters: " + c + " is known"
		}
	}
	return "known are " + strings.Join(slices.Concat(common, []string{"and products and quotients of these"}), ", ")
}
