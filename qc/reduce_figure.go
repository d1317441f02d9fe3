package qc

import (
	"fmt"

	"underbond/qc/method"
	"underbond/qc/signal"
	"underbond/qc/spectrum"
)

// figure takes the figure that a method asks for from a spectrum of plain numbers.
func figure(s spectrum.Spectrum, want *method.SpectrumSource) (float64, error) {
	switch want.Kind {
	case method.SpectrumBandHeight, method.SpectrumBandArea:
		return band(s, bandOf(want))
	case method.SpectrumRatio:
		return ratio(s, want.Of, want.By)
	case method.SpectrumDerivative:
		d, err := derivative(s, want.Derivative)
		if err != nil {
			return 0, err
		}
		return d.At(want.At)
	case method.SpectrumColour:
		return colour(s, want.Component)
	case method.SpectrumPhenolicIndex:
		a, err := s.At(method.PhenolicWavelength)
		if err != nil {
			return 0, err
		}
		return spectrum.PhenolicIndex(a, 1) // evaluation multiplies by the worklist's dilution
	}
	return ordinate(s, want)
}

// ordinate gives the ordinate at a position less that at the baseline position.
func ordinate(s spectrum.Spectrum, want *method.SpectrumSource) (float64, error) {
	value, err := s.At(want.At)
	if err != nil || want.Baseline == nil {
		return value, err
	}
	baseline, err := s.At(*want.Baseline)
	if err != nil {
		return 0, fmt.Errorf("baseline: %w", err)
	}
	return value - baseline, nil
}

func bandOf(want *method.SpectrumSource) *method.Band {
	b := &method.Band{From: want.From, To: want.To}
	if want.Kind == method.SpectrumBandHeight {
		b.At = &want.At
	}
	return b
}

// band gives an ordinate, a band's height or its area.
func band(s spectrum.Spectrum, b *method.Band) (float64, error) {
	switch {
	case b == nil || b.At == nil && (b.From == nil || b.To == nil):
		return 0, fmt.Errorf("%w: a band without a position", spectrum.ErrUndefined)
	case b.From == nil || b.To == nil:
		return s.At(*b.At)
	case b.At == nil:
		return s.BandArea(*b.From, *b.To)
	}
	return s.BandHeight(*b.At, *b.From, *b.To)
}

func ratio(s spectrum.Spectrum, of, by *method.Band) (float64, error) {
	above, err := band(s, of)
	if err != nil {
		return 0, fmt.Errorf("the band divided: %w", err)
	}
	below, err := band(s, by)
	if err != nil {
		return 0, fmt.Errorf("the band that divides: %w", err)
	}
	return spectrum.Ratio(above, below)
}

func derivative(s spectrum.Spectrum, d *method.Derivative) (spectrum.Spectrum, error) {
	if d == nil {
		return spectrum.Spectrum{}, fmt.Errorf("%w: a derivative without settings", spectrum.ErrUndefined)
	}
	weights, err := signal.SavitzkyGolay(d.Points, d.Degree, d.Order)
	if err != nil {
		return spectrum.Spectrum{}, err
	}
	return s.Derivative(weights, d.Order)
}

func colour(s spectrum.Spectrum, component string) (float64, error) {
	c, err := s.Colour(spectrum.Fraction)
	if err != nil {
		return 0, err
	}
	switch component {
	case method.ComponentL:
		return c.L, nil
	case method.ComponentA:
		return c.A, nil
	case method.ComponentB:
		return c.B, nil
	}
	return 0, fmt.Errorf("%w: there is no component %q of a colour", spectrum.ErrUndefined, component)
}

// figureWords says what a method asks of a spectrum.
func figureWords(want *method.SpectrumSource) string {
	switch want.Kind {
	case method.SpectrumBandHeight, method.SpectrumBandArea:
		return fmt.Sprintf("%s (%s of %s)", want.Kind, bandWords(bandOf(want), want.Unit), want.Ordinate)
	case method.SpectrumRatio:
		return fmt.Sprintf("ratio (%s to %s of %s)", bandWords(want.Of, want.Unit), bandWords(want.By, want.Unit), want.Ordinate)
	case method.SpectrumDerivative:
		return fmt.Sprintf("derivative of %s at %v %s", want.Ordinate, want.At, want.Unit)
	case method.SpectrumColour:
		return "colour " + want.Component
	case method.SpectrumPhenolicIndex:
		return want.Kind
	}
	return fmt.Sprintf("%s at %v %s", want.Ordinate, want.At, want.Unit)
}

func bandWords(b *method.Band, unit string) string {
	switch {
	case b == nil:
		return "no band"
	case b.From == nil || b.To == nil:
		if b.At == nil {
			return "no band"
		}
		return fmt.Sprintf("%v %s", *b.At, unit)
	case b.At == nil:
		return fmt.Sprintf("area from %v to %v %s", *b.From, *b.To, unit)
	}
	return fmt.Sprintf("%v %s over %v to %v %s", *b.At, unit, *b.From, *b.To, unit)
}
