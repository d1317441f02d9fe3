package qc

import (
	"cmp"
	"slices"

	"underbond/qc/method"
)

// Plan is what a method asks of an acquisition's signals, and nothing else of it: not
// limits, calibrations or retention windows, so that these can change without
// another look at the signals. Equal needs make equal plans, in whatever order and
// however often the method has them.
type Plan struct {
	// Columns are the meanings of the table columns wanted. All columns are kept.
	Columns []string `json:"columns,omitempty"`
	// Ordinates are the spectrum positions wanted.
	Ordinates []method.SpectrumSource `json:"ordinates,omitempty"`
	// Traces select the chromatograms wanted.
	Traces []method.Trace `json:"traces,omitempty"`
	// Integration is there when Traces are.
	Integration *method.Integration `json:"integration,omitempty"`
}

// NewPlan extracts the plan from a method.
func NewPlan(m *method.Method) Plan {
	var p Plan
	for _, a := range m.Analytes {
		p.add(a.Source)
	}
	if m.InternalStandard != nil {
		p.add(m.InternalStandard.Source)
	}
	slices.Sort(p.Columns)
	p.Columns = slices.Compact(p.Columns)
	slices.SortFunc(p.Ordinates, compareOrdinates)
	p.Ordinates = slices.CompactFunc(p.Ordinates, func(a, b method.SpectrumSource) bool { return compareOrdinates(a, b) == 0 })
	slices.SortFunc(p.Traces, compareTraces)
	p.Traces = slices.CompactFunc(p.Traces, func(a, b method.Trace) bool { return compareTraces(a, b) == 0 })
	if len(p.Traces) > 0 && m.Integration != nil {
		settings := *m.Integration
		if settings.Smoothing == 1 { // as 0, no smoothing
			settings.Smoothing = 0
		}
		p.Integration = &settings
	}
	return p
}

func (p *Plan) add(s method.Source) {
	switch {
	case s.Table != nil:
		p.Columns = append(p.Columns, s.Table.Value)
	case s.Density != nil:
		p.Columns = append(p.Columns, s.Density.Density, s.Density.Temperature)
	case s.Spectrum != nil:
		p.Ordinates = append(p.Ordinates, *s.Spectrum)
	case s.Chromatogram != nil:
		p.Traces = append(p.Traces, s.Chromatogram.Trace)
	}
}

// Digest identifies the plan: the SHA-256 of its canonical JSON. It is empty for a plan
// with a number that is not finite, which no valid method has and NewReducer reports.
func (p Plan) Digest() string {
	digest, _, err := Digest(p)
	if err != nil {
		return ""
	}
	return digest
}

func compareOrdinates(a, b method.SpectrumSource) int {
	return cmp.Or(
		cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.At, b.At), compareGiven(a.Baseline, b.Baseline), cmp.Compare(a.Ordinate, b.Ordinate))
}

func compareTraces(a, b method.Trace) int {
	return cmp.Or(
		cmp.Compare(a.ID, b.ID), cmp.Compare(a.Kind, b.Kind), compareGiven(a.Wavelength, b.Wavelength),
		compareGiven(a.Precursor, b.Precursor), compareGiven(a.Product, b.Product))
}

// compareGiven orders absent before present.
func compareGiven(a, b *float64) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return -1
	case b == nil:
		return 1
	}
	return cmp.Compare(*a, *b)
}
