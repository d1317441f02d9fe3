// Package unit converts values between units of measurement of one kind, as
// laboratories write them. Units of different kinds are never converted, even where
// both have the dimension one: % vol is no mass fraction and m/z no absorbance.
package unit

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"

	"underbond/parsers/ucum"
)

// What a unit measures, as package ucum tells it apart.
type (
	Dimension = ucum.Dimension
	Kind      = ucum.Kind
)

// Kinds of units.
const (
	Ordinary       = ucum.Ordinary
	PureAlcohol    = ucum.PureAlcohol
	AlcoholVolume  = ucum.AlcoholVolume
	MassFraction   = ucum.MassFraction
	MassToCharge   = ucum.MassToCharge
	Counts         = ucum.Counts
	CelsiusDegrees = ucum.CelsiusDegrees
)

// Unit is a unit of measurement.
type Unit struct{ ucum.Unit }

// Parse reads a unit as written in documents or exports, or as a UCUM code; ucum.Parse
// says how. A text that is no known unit gives an *UnknownError with a hint.
func Parse(text string) (Unit, error) {
	u, err := ucum.Parse(text)
	return Unit{u}, err
}

// Factor is how many coherent units (of metre, kilogram, second, mole, kelvin,
// ampere) one of this unit is, to the nearest double.
func (u Unit) Factor() float64 {
	return times(1, u, coherent)
}

// Convertible tells whether values in u can be given in v.
func (u Unit) Convertible(v Unit) bool {
	return u.Dimension == v.Dimension && u.Kind == v.Kind
}

// UnknownError: a text names no known unit.
type UnknownError = ucum.UnknownError

// IncompatibleError: two units measure different things.
type IncompatibleError struct {
	From, To string
	Why      string
}

// Error implements error.
func (e *IncompatibleError) Error() string {
	return fmt.Sprintf("cannot convert %q to %q: %s", e.From, e.To, e.Why)
}

// ValueError: a value cannot be converted although the units are right.
type ValueError struct {
	Value float64
	Why   string
}

// Error implements error.
func (e *ValueError) Error() string { return fmt.Sprintf("value %v: %s", e.Value, e.Why) }

// Convert gives v, measured in unit from, in unit to: the exact product of the decimal
// number that v stands for and the ratio of the units, rounded once to a double.
// Ratios that are powers of ten only move the decimal point.
//
// Errors: *UnknownError, *IncompatibleError, *ValueError (v is not finite or the
// result leaves the range of a double).
func Convert(v float64, from, to string) (float64, error) {
	f, err := Parse(from)
	if err != nil {
		return 0, fmt.Errorf("convert %v: %w", v, err)
	}
	t, err := Parse(to)
	if err != nil {
		return 0, fmt.Errorf("convert %v: %w", v, err)
	}
	if !f.Convertible(t) {
		return 0, fmt.Errorf("convert %v: %w", v, incompatible(f, t))
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("convert from %s to %s: %w", from, to, &ValueError{v, "not a finite number"})
	}
	out := times(v, f, t)
	if math.IsInf(out, 0) {
		return 0, fmt.Errorf("convert from %s to %s: %w", from, to, &ValueError{v, "too large in the unit asked for"})
	}
	return out, nil
}

func incompatible(f, t Unit) *IncompatibleError {
	why := "they measure different things"
	switch {
	case f.Kind == PureAlcohol || t.Kind == PureAlcohol:
		why = "a value per volume of pure alcohol needs the alcoholic strength"
	case f.Kind != t.Kind:
		why = fmt.Sprintf("one is %s, the other %s", words(f.Kind), words(t.Kind))
	case f.Dimension != t.Dimension:
		why = "their dimensions differ"
	}
	return &IncompatibleError{From: f.Text, To: t.Text, Why: why}
}

func words(k Kind) string {
	if k == Ordinary {
		return "an ordinary unit"
	}
	return string(k)
}

// PerAlcohol gives a mass concentration in the spirit as mass per volume of the pure
// alcohol in it: concentration · 100 / strength, in matching units. 40 mg/L at
// 40 % vol are 10 g/hL p.a. The exact value is rounded once.
//
// Errors: *UnknownError; *IncompatibleError when concUnit is no mass per volume or
// toUnit is not per volume of pure alcohol; *ValueError when the concentration is not
// finite or the strength is not above 0 and at most 100 % vol.
func PerAlcohol(conc float64, concUnit string, strengthPercentVol float64, toUnit string) (float64, error) {
	from, err := Parse(concUnit)
	if err != nil {
		return 0, fmt.Errorf("per pure alcohol: %w", err)
	}
	to, err := Parse(toUnit)
	if err != nil {
		return 0, fmt.Errorf("per pure alcohol: %w", err)
	}
	massPerVolume := Dimension{ucum.Length: -3, ucum.Mass: 1}
	if from.Dimension != massPerVolume || from.Kind != Ordinary {
		return 0, fmt.Errorf("per pure alcohol: %w", &IncompatibleError{from.Text, to.Text, "the concentration is no mass per volume"})
	}
	if to.Kind != PureAlcohol {
		return 0, fmt.Errorf("per pure alcohol: %w", &IncompatibleError{from.Text, to.Text, "the unit asked for is not per volume of pure alcohol"})
	}
	if math.IsNaN(conc) || math.IsInf(conc, 0) {
		return 0, fmt.Errorf("per pure alcohol: concentration: %w", &ValueError{conc, "not a finite number"})
	}
	if !(strengthPercentVol > 0 && strengthPercentVol <= 100) {
		return 0, fmt.Errorf("per pure alcohol: strength: %w", &ValueError{strengthPercentVol, "not above 0 and at most 100 % vol"})
	}
	exact := ratio(from, to)
	exact.Mul(exact, big.NewRat(100, 1))
	exact.Mul(exact, decimal(conc))
	exact.Quo(exact, decimal(strengthPercentVol))
	out, _ := exact.Float64()
	if math.IsInf(out, 0) {
		return 0, fmt.Errorf("per pure alcohol: %w", &ValueError{conc, "too large in the unit asked for"})
	}
	return out, nil
}

// coherent has the factor one.
var coherent = Unit{ucum.Unit{Numerator: 1, Denominator: 1}}

// times gives v · from/to, rounded once. v counts as the decimal number that it stands
// for, the shortest one that reads back as v; a power of ten then only moves the
// decimal point, and 0.948045 g/cm³ are 948.045 kg/m³.
func times(v float64, from, to Unit) float64 {
	if from.Numerator == to.Numerator && from.Denominator == to.Denominator {
		if from.Power == to.Power || v == 0 {
			return v
		}
		mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', -1, 64), "e")
		if e, err := strconv.Atoi(exponent); err == nil {
			// An overflow gives the infinity that it should.
			out, _ := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(e+from.Power-to.Power), 64)
			return out
		}
	}
	exact := ratio(from, to)
	out, _ := exact.Mul(exact, decimal(v)).Float64()
	return out
}

// decimal gives the decimal number that v stands for; v is finite.
func decimal(v float64) *big.Rat {
	exact, ok := new(big.Rat).SetString(strconv.FormatFloat(v, 'e', -1, 64))
	if !ok {
		return new(big.Rat).SetFloat64(v)
	}
	return exact
}

// ratio gives how many of to one of from is.
func ratio(from, to Unit) *big.Rat {
	exact := big.NewRat(from.Numerator, from.Denominator)
	exact.Quo(exact, big.NewRat(to.Numerator, to.Denominator))
	power := from.Power - to.Power
	ten := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(power, -power))), nil))
	if power < 0 {
		return exact.Quo(exact, ten)
	}
	return exact.Mul(exact, ten)
}
