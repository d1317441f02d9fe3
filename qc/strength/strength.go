// Package strength computes alcoholic strength: the density of mixtures of ethanol and
// water by the general formula of OIML R 22 (1975), and what follows from it.
//
// Everything here is about pure mixtures of ethanol and water. Sugar, extract from
// wood and other dissolved matter raise the density of a spirit, so that the strength
// read from it is apparent and too low; the real strength is that of the distillate.
package strength

import (
	"fmt"
	"math"
)

// Limits of the formula in °C, both included.
const (
	MinTemperature = -20
	MaxTemperature = 40
)

// reference is the temperature of strength by volume in °C, at which every term of the
// formula in t - 20 vanishes.
const reference = 20

// RangeError refuses a quantity outside of what the formula describes.
type RangeError struct {
	Quantity         string
	Value, Low, High float64
	Unit             string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s of %v %s is outside %v to %v %s", e.Quantity, e.Value, e.Unit, e.Low, e.High, e.Unit)
}

func within(quantity, unit string, v, low, high float64) error {
	if !(v >= low && v <= high) {
		return &RangeError{quantity, v, low, high, unit}
	}
	return nil
}

// Density gives the density in kg/m³ of a mixture with this mass fraction of ethanol
// (0 to 1) at a temperature in °C:
//
//	ρ = Σ A_k p^(k-1) + Σ B_k (t - 20)^k + Σ_i Σ_k C_ik p^k (t - 20)^i
//
// Error: *RangeError.
func Density(massFraction, temperature float64) (float64, error) {
	if err := within("mass fraction", "kg/kg", massFraction, 0, 1); err != nil {
		return 0, err
	}
	if err := within("temperature", "°C", temperature, MinTemperature, MaxTemperature); err != nil {
		return 0, err
	}
	return density(massFraction, temperature), nil
}

func density(p, t float64) float64 {
	d := t - reference
	byTemperature := 0.0
	for i := len(coefficientsB) - 1; i >= 0; i-- {
		inner := coefficientsB[i]
		if i < len(coefficientsC) {
			inner += p * horner(coefficientsC[i], p)
		}
		byTemperature = (byTemperature + inner) * d
	}
	return horner(coefficientsA[:], p) + byTemperature
}

func horner(coefficients []float64, p float64) float64 {
	v := 0.0
	for i := len(coefficients) - 1; i >= 0; i-- {
		v = math.FMA(v, p, coefficients[i])
	}
	return v
}

// MassFraction gives the mass fraction of ethanol (0 to 1) in a mixture of this density
// in kg/m³ at a temperature in °C. The density falls with the mass fraction at every
// temperature of the formula, so there is one answer; it is found to the last digit.
//
// Error: *RangeError, also for a density that no mixture has at this temperature.
func MassFraction(measured, temperature float64) (float64, error) {
	lightest, err := Density(1, temperature)
	if err != nil {
		return 0, err
	}
	heaviest, err := Density(0, temperature)
	if err != nil {
		return 0, err
	}
	if err := within(fmt.Sprintf("density at %v °C", temperature), "kg/m³", measured, lightest, heaviest); err != nil {
		return 0, err
	}
	return falling(func(p float64) float64 { return density(p, temperature) - measured }), nil
}

// falling finds the zero of a function that falls from 0 to 1.
func falling(f func(float64) float64) float64 {
	low, high := 0.0, 1.0
	switch {
	case f(low) <= 0:
		return low
	case f(high) >= 0:
		return high
	}
	const enough = 200 // halvings reach neighbouring doubles above 1e-45
	for range enough {
		middle := low + (high-low)/2
		if middle == low || middle == high {
			break
		}
		if f(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	if f(low) < -f(high) {
		return low
	}
	return high
}

// ByVolume gives the alcoholic strength by volume at 20 °C, in % vol, of a mixture with
// this mass fraction of ethanol: q = p ρ(p, 20 °C)/ρ(1, 20 °C). Error: *RangeError.
func ByVolume(massFraction float64) (float64, error) {
	if err := within("mass fraction", "kg/kg", massFraction, 0, 1); err != nil {
		return 0, err
	}
	return byVolume(massFraction), nil
}

func byVolume(p float64) float64 {
	return 100 * (p * (density(p, reference) / density(1, reference))) // exactly 100 for pure ethanol
}

// MassFractionOf gives the mass fraction of ethanol in a mixture of this strength by
// volume at 20 °C, in % vol. Error: *RangeError.
func MassFractionOf(abv float64) (float64, error) {
	if err := within("strength", "% vol", abv, 0, 100); err != nil {
		return 0, err
	}
	return falling(func(p float64) float64 { return abv - byVolume(p) }), nil
}

// OfDensity gives the strength in % vol at 20 °C of a mixture of this density in kg/m³,
// measured at a temperature in °C. Error: *RangeError.
func OfDensity(measured, temperature float64) (float64, error) {
	p, err := MassFraction(measured, temperature)
	if err != nil {
		return 0, err
	}
	return byVolume(p), nil
}

// DensityOf gives the density in kg/m³ at a temperature in °C of a mixture of this
// strength in % vol at 20 °C. Error: *RangeError.
func DensityOf(abv, temperature float64) (float64, error) {
	p, err := MassFractionOf(abv)
	if err != nil {
		return 0, err
	}
	return Density(p, temperature)
}
