package qc

import (
	"fmt"
	"strings"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/spectrum"
	"underbond/qc/unit"
)

// ordinateFound is what was found for one spectrum position of the plan.
type ordinateFound struct {
	value   *float64
	reason  string
	element string // the spectrum concerned
	fitting int    // spectra of the axis and ordinate asked for
}

// spectrum takes the ordinates wanted.
func (r *Reducer) spectrum(s *parsers.Spectrum) {
	r.spectra++
	for i, want := range r.plan.Ordinates {
		found := &r.points[i]
		scale, mismatch := ordinateScale(s, want)
		if mismatch != "" {
			if found.fitting == 0 && found.reason == "" {
				found.reason, found.element = mismatch, strings.Clone(spectrumName(s))
			}
			continue
		}
		found.fitting++
		if found.fitting > 1 {
			found.value, found.reason = nil, fmt.Sprintf("%d spectra have %s over %s", found.fitting, want.Ordinate, want.Unit)
			continue
		}
		found.element = strings.Clone(spectrumName(s))
		found.value, found.reason = ordinateLess(s, want, scale)
	}
}

func spectrumName(s *parsers.Spectrum) string {
	if s.ID != "" {
		return s.ID
	}
	return fmt.Sprintf("spectrum %d", s.Index+1)
}

// ordinateScale gives the factor from the spectrum's ordinates to plain numbers, or
// what speaks against reading them: another quantity or another axis is never converted.
func ordinateScale(s *parsers.Spectrum, want method.SpectrumSource) (scale float64, mismatch string) {
	if !sameUnit(s.XAxis.Unit, want.Unit) {
		return 0, fmt.Sprintf("the method asks for a position in %s, and the abscissa is %s", want.Unit, quantityWords(s.XAxis))
	}
	if !strings.EqualFold(s.YAxis.Name, want.Ordinate) {
		return 0, fmt.Sprintf("the method asks for %s, and the ordinate is %s", want.Ordinate, quantityWords(s.YAxis))
	}
	scale, err := unit.Convert(1, s.YAxis.Unit, "1")
	if err != nil {
		return 0, fmt.Sprintf("the method asks for %s as a plain number, and the ordinate is %s", want.Ordinate, quantityWords(s.YAxis))
	}
	return scale, ""
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

// ordinateLess gives the ordinate at a position less that at the baseline position.
func ordinateLess(s *parsers.Spectrum, want method.SpectrumSource, scale float64) (*float64, string) {
	over := spectrum.Spectrum{X: s.X, Y: s.Y, Unit: want.Unit}
	value, err := over.At(want.At)
	if err != nil {
		return nil, err.Error()
	}
	if want.Baseline != nil {
		baseline, err := over.At(*want.Baseline)
		if err != nil {
			return nil, "baseline: " + err.Error()
		}
		value -= baseline
	}
	if scaled := given(value * scale); scaled != nil {
		return scaled, ""
	}
	return nil, fmt.Sprintf("the ordinate at %v %s is not finite", want.At, want.Unit)
}

// endOrdinates puts one point for each position of the plan into the reduction.
func (r *Reducer) endOrdinates() {
	for i, want := range r.plan.Ordinates {
		found := r.points[i]
		if r.spectra == 0 {
			found.reason = "the acquisition has no spectrum"
		}
		if found.value == nil {
			r.problem(ProblemOrdinate, found.element, "no %s at %v %s: %s", want.Ordinate, want.At, want.Unit, found.reason)
		}
		point := SpectrumPoint{At: want.At, Unit: want.Unit, Ordinate: want.Ordinate, Value: found.value, Reason: found.reason}
		if want.Baseline != nil {
			point.Baseline = given(*want.Baseline)
		}
		r.reduction.Points = append(r.reduction.Points, point)
	}
}
