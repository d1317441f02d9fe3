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
	// Ordinates are the figures of spectra wanted.
	Ordinates []method.SpectrumSource `json:"ordinates,omitempty"`
	// Grids are the resampled spectra wanted.
	Grids []method.Feature `json:"grids,omitempty"`
	// Traces are the chromatograms wanted.
	Traces []PlannedTrace `json:"traces,omitempty"`
	// Integration is there when Traces are.
	Integration *method.Integration `json:"integration,omitempty"`
}

// PlannedTrace is a chromatogram to select or to extract, and how it is integrated where
// that departs from the plan's settings.
type PlannedTrace struct {
	method.Trace
	Departure *method.PeakIntegration `json:"integration,omitempty"`
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
	p.Grids = append(p.Grids, m.Features...)
	for i := range p.Grids {
		if p.Grids[i].Interpolation == "" {
			p.Grids[i].Interpolation = method.InterpolationLinear
		}
	}
	slices.SortStableFunc(p.Grids, func(a, b method.Feature) int { return cmp.Compare(a.Name, b.Name) })
	slices.SortFunc(p.Ordinates, compareOrdinates)
	p.Ordinates = slices.CompactFunc(p.Ordinates, func(a, b method.SpectrumSource) bool { return compareOrdinates(a, b) == 0 })
	slices.SortFunc(p.Traces, compareTraces)
	p.Traces = slices.CompactFunc(p.Traces, func(a, b PlannedTrace) bool { return compareTraces(a, b) == 0 })
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
		p.Traces = append(p.Traces, PlannedTrace{Trace: s.Chromatogram.Trace, Departure: s.Chromatogram.Integration})
		if q := s.Chromatogram.Qualifier; q != nil {
			p.Traces = append(p.Traces, PlannedTrace{Trace: q.Trace, Departure: s.Chromatogram.Integration})
		}
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
