package scenario

import (
	"slices"

	"underbond/qc"
	"underbond/qc/worklist"
)

// tolerance is how far a result can be from the truth: relative to the value, and in
// limits of quantitation of the measured solution. Together they are a third to twice more
// than the cut-off noise of sample, calibrants and internal standard brought about in 150
// seeds.
type tolerance struct{ relative, floors float64 }

var tolerances = map[string]tolerance{
	"GC": {0.04, 0.2},
	"LC": {0.04, 0.4},
	"PM": {0.05, 0.3},
}

// Tolerances of the methods without calibration.
const (
	strengthTolerance   = 0.03    // % vol: repeatability and the printed digits
	densityTolerance    = 0.00004 // g/cm³
	absorbanceRelative  = 0.004   // of the dilution
	absorbanceTolerance = 0.0009  // of the two ordinates, before dilution
)

// batch sums up the plan for those who follow the scenario.
func (p *plan) batch() Batch {
	b := Batch{Name: p.name, Method: p.method, Instrument: p.instrument}
	for _, e := range p.entries {
		if !slices.Contains(b.Files, e.file) {
			b.Files = append(b.Files, e.file)
		}
		if e.role == worklist.RoleSample {
			b.Samples = append(b.Samples, e.sample)
		}
	}
	return b
}

// truths gives the true results of the batch's samples.
func (p *plan) truths(b *builder) []Truth {
	var all []Truth
	for _, sample := range p.batch().Samples {
		bottle := b.find(sample)
		for _, t := range p.truthsOf(bottle) {
			t.Batch, t.Sample = p.name, sample
			all = append(all, t)
		}
	}
	return all
}

func (b *builder) find(sample string) bottle {
	for _, candidate := range b.cellar {
		if candidate.id == sample {
			return candidate
		}
	}
	return b.stray
}

func (p *plan) truthsOf(b bottle) []Truth {
	asIs := func(name string, unit string, tolerance, loq float64) Truth {
		v := b.truth.amounts[name]
		return Truth{Key: Key{Analyte: name, Basis: qc.BasisAsIs}, Value: v, Unit: unit, Tolerance: tolerance, Censored: v < loq}
	}
	var all []Truth
	for _, m := range p.panel() {
		tol := tolerances[p.prefix]
		v := b.truth.amounts[m.name]
		t := asIs(m.name, m.unit, tol.relative*v+tol.floors*m.floor*p.dilution, m.floor*p.dilution)
		all = append(all, t)
		if p.prefix == "GC" {
			strength := b.history.strength
			t.Basis, t.Unit = qc.BasisPerAlcohol, "g/hL p.a."
			t.Value *= 10 / strength
			t.Tolerance = t.Tolerance*10/strength + t.Value*strengthTolerance/strength
			all = append(all, t)
		}
	}
	switch p.instrument {
	case "UV-1":
		for _, a := range absorbances {
			v := b.truth.amounts[a.name]
			all = append(all, asIs(a.name, "1", absorbanceRelative*v+absorbanceTolerance*p.dilution, absorbanceFloor*p.dilution))
		}
	case "DM-1":
		all = append(all, asIs(strengthName, "% vol", strengthTolerance, 0), asIs(densityName, "g/cm³", densityTolerance, 0))
	}
	return all
}

// panel is what the plan's instrument measures by calibration.
func (p *plan) panel() []measurand {
	switch p.prefix {
	case "GC":
		return congeners
	case "LC":
		return phenolics
	case "PM":
		return elements
	}
	return nil
}
