// Package ucum reads units of measurement as laboratories and instruments write them
// and names their UCUM codes (Unified Code for Units of Measure). It knows what a unit
// measures and its factor; converting values is not its business.
package ucum

import "fmt"

// Dimension holds the exponents of the base units metre, kilogram, second, mole,
// kelvin and ampere.
type Dimension [6]int8

// Places of the base units in a Dimension.
const (
	Length = iota
	Mass
	Time
	Substance
	Temperature
	Current
)

// Kind tells apart units whose dimension alone would let them be mixed.
type Kind string

const (
	Ordinary       Kind = ""
	PureAlcohol    Kind = "per volume of pure alcohol"
	AlcoholVolume  Kind = "alcoholic strength by volume"
	MassFraction   Kind = "mass fraction"
	MassToCharge   Kind = "mass to charge ratio"
	Counts         Kind = "counts"
	CelsiusDegrees Kind = "Celsius temperature"
)

// Unit is a unit of measurement.
type Unit struct {
	// Text is the unit as written.
	Text string
	// UCUM is its code, normalised: "µg/L", "ug/L" and "μg/l" all have "ug/L".
	UCUM      string
	Dimension Dimension
	Kind      Kind
	// The factor to coherent units is Numerator/Denominator · 10^Power, kept in whole
	// numbers so that ratios of powers of ten stay exact.
	Numerator, Denominator int64
	Power                  int
}

// coherent has the factor one.
var coherent = Unit{Numerator: 1, Denominator: 1}

// Code gives the UCUM code of a unit as written, and "" for a text that is no known unit.
func Code(text string) string {
	u, err := Parse(text)
	if err != nil {
		return ""
	}
	return u.UCUM
}

// UnknownError: a text names no known unit.
type UnknownError struct {
	Text string
	// Hint says what may have been meant or what is known.
	Hint string
}

// Error implements error.
func (e *UnknownError) Error() string {
	return fmt.Sprintf("unknown unit %q: %s", e.Text, e.Hint)
}
