package catalogue

import (
	"strings"
	"testing"
)

func TestMolarMass(t *testing.T) {
	for formula, want := range map[string]float64{
		"CH4O": 32.042, "C2H6O": 46.069, "C12H22O11": 342.297, "Cu": 63.546, "Pb": 207.2,
		"C8H5D3O3": 155.1673, "CHN": 27.026, "H2O": 18.015, "D2O": 20.0272, "CCl4": 153.811,
	} {
		if got, err := MolarMass(formula); err != nil || got != want {
			t.Errorf("%s: %v, %v; want %v", formula, got, err, want)
		}
	}
	for formula, want := range map[string]string{
		"":       "empty",
		"h2o":    `"h" is no element`,
		"Xx":     `"Xx" is no element`,
		"Tc":     `"Tc" is no element`,
		"CH3CH3": "C is there twice",
		"C1H4":   "no whole number from 2",
		"C0H4":   "no whole number from 2",
		"C02":    "no whole number from 2",
		"C12345": "no whole number from 2",
		"H4C":    "not in Hill order: C, H",
		"OC":     "not in Hill order: C, O",
		"C2(OH)": `"(" is no element`,
		"CH4 O":  `" " is no element`,
		"é":      "is no element",
	} {
		if _, err := MolarMass(formula); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", formula, err, want)
		}
	}
}
