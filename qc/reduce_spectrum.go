package qc

import (
	"fmt"
	"strings"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/spectrum"
	"underbond/qc/unit"
)

// ordinateFound is what was found for one figure of the plan.
type ordinateFound struct {
	value   *float64
	reason  string
	element string // the spectrum concerned
	fitting int    // spectra of the axis and ordinate asked for
}

// spectrum takes the figures and the grids wanted.
func (r *Reducer) spectrum(s *parsers.Spectrum) {
	r.spectra++
	for i, want := range r.plan.Ordinates {
		found := &r.points[i]
		if from := found.spectrumOf(s, want.Unit, want.Ordinate, want.Convert); from != nil {
			value, err := figure(*from, &want)
			switch {
			case err != nil:
				found.reason = err.Error()
			case given(value) == nil:
				found.reason = fmt.Sprintf("the %s is not finite", figureWords(&want))
			default:
				found.value = given(value)
			}
		}
	}
	for i := range r.plan.Grids {
		want, found := &r.plan.Grids[i], &r.grids[i]
		if from := found.spectrumOf(s, want.Unit, want.Ordinate, want.Convert); from != nil {
			var err error
			if found.values, err = onGrid(*from, want); err != nil {
				found.reason = err.Error()
			}
		}
	}
}

// spectrumOf gives a spectrum as plain numbers of the ordinate asked for when it is the
// only one so far to have that over the axis asked for, and otherwise nil with a reason noted.
func (f *ordinateFound) spectrumOf(s *parsers.Spectrum, unitText, ordinate string, convert bool) *spectrum.Spectrum {
	from, mismatch := plainSpectrum(s, unitText, ordinate, convert)
	if mismatch != "" {
		if f.fitting == 0 && f.reason == "" {
			f.reason, f.element = mismatch, strings.Clone(spectrumName(s))
		}
		return nil
	}
	f.fitting++
	f.value, f.reason = nil, ""
	if f.fitting > 1 {
		f.reason = fmt.Sprintf("%d spectra have %s over %s", f.fitting, ordinate, unitText)
		return nil
	}
	f.element = strings.Clone(spectrumName(s))
	return from
}

func spectrumName(s *parsers.Spectrum) string {
	if s.ID != "" {
		return s.ID
	}
	return fmt.Sprintf("spectrum %d", s.Index+1)
}

// plainSpectrum gives a spectrum whose ordinates are plain numbers of the quantity asked for, or what
// speaks against reading it: another axis is never converted, another quantity only
// when the method asks for that.
func plainSpectrum(s *parsers.Spectrum, unitText, ordinate string, convert bool) (from *spectrum.Spectrum, mismatch string) {
	if !sameUnit(s.XAxis.Unit, unitText) {
		return nil, fmt.Sprintf("the method asks for a position in %s, and the abscissa is %s", unitText, quantityWords(s.XAxis))
	}
	conversion := conversionOf(s.YAxis.Name, ordinate, convert)
	if conversion == nil {
		return nil, fmt.Sprintf("the method asks for %s, and the ordinate is %s", ordinate, quantityWords(s.YAxis))
	}
	scale, err := unit.Convert(1, s.YAxis.Unit, "1")
	if err != nil {
		return nil, fmt.Sprintf("the method asks for %s as a plain number, and the ordinate is %s", ordinate, quantityWords(s.YAxis))
	}
	plain := spectrum.Spectrum{X: s.X, Y: s.Y, Unit: unitText}
	if scale != 1 {
		plain.Y = make([]float64, len(s.Y))
		for i, y := range s.Y {
			plain.Y[i] = y * scale
		}
	}
	converted := conversion(plain)
	return &converted, ""
}

// conversionOf gives what makes the ordinate asked for of the one that is there; nil
// when nothing may.
func conversionOf(have, want string, convert bool) func(spectrum.Spectrum) spectrum.Spectrum {
	is := func(name string) bool { return strings.EqualFold(have, name) }
	switch {
	case is(want):
		return func(s spectrum.Spectrum) spectrum.Spectrum { return s }
	case convert && want == method.OrdinateAbsorbance && is(method.OrdinateTransmittance):
		return func(s spectrum.Spectrum) spectrum.Spectrum { return s.Absorbance(spectrum.Fraction) }
	case convert && want == method.OrdinateTransmittance && is(method.OrdinateAbsorbance):
		return func(s spectrum.Spectrum) spectrum.Spectrum { return s.Transmittance(spectrum.Fraction) }
	}
	return nil
}

func sameUnit(a, b string) bool {
	u, err := unit.Parse(a)
	if err != nil {
		return false
	}
	v, err := unit.Parse(b)
	return err == nil && u.UCUM == v.UCUM
}

// quantityWords says what an axis is, as known and as written.
func quantityWords(q parsers.Quantity) string {
	name := q.Name
	if name == "" {
		name = "an unnamed quantity"
	}
	switch {
	case q.Unit == "" && q.UnitText == "":
		return name + " without a unit"
	case q.Unit == "":
		return fmt.Sprintf("%s in the unknown unit %q", name, q.UnitText)
	}
	return name + " in " + q.Unit
}

// endOrdinates puts one point for each figure of the plan into the reduction.
func (r *Reducer) endOrdinates() {
	for i, want := range r.plan.Ordinates {
		found := r.points[i]
		if r.spectra == 0 {
			found.reason = "the acquisition has no spectrum"
		}
		if found.value == nil {
			r.problem(ProblemOrdinate, found.element, "no %s: %s", figureWords(&want), found.reason)
		}
		point := SpectrumPoint{SpectrumSource: want, Value: found.value, Reason: found.reason}
		if want.Baseline != nil {
			point.Baseline = given(*want.Baseline)
		}
		r.reduction.Points = append(r.reduction.Points, point)
	}
}
