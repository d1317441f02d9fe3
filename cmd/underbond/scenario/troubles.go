package scenario

import (
	"underbond/qc"
	"underbond/qc/method"
	"underbond/qc/worklist"
)

// Trouble is one thing that goes wrong in the survey, and what must come of it.
type Trouble struct {
	Name  string
	Story string
	// Held are results that must be held in the end, each by the rule named. A result
	// that no trouble names here must be released.
	Held []Held
	// Unfinished are files that are never completed; their worklist lines stay without
	// acquisition, and their samples have no results in that batch.
	Unfinished []File
	// Notices are released results that carry a safety notice.
	Notices []Key
	// Corrected are results that are released, withdrawn and released again.
	Corrected []Correction
}

// Held is a result that must stay held.
type Held struct {
	Key
	Batch string
	Rule  string // a check by this rule holds it
}

// File is an export, with the worklist line that names it.
type File struct {
	Instrument string
	Name       string
	Batch      string
	Position   int
	Sample     string
}

// Correction is a result with the value that was released first. Truth has the value
// that stands in the end.
type Correction struct {
	Key
	Batch     string
	First     float64
	Tolerance float64
}

// Held lists all results that must be held in the end.
func (s *Scenario) Held() []Held {
	var all []Held
	for _, t := range s.Troubles {
		all = append(all, t.Held...)
	}
	return all
}

// Samples and analytes in trouble.
const (
	brokenOffSample = "OC-005"
	slippedSample   = "OC-007"
	slippedStrength = 41.42 // printed where 44.12 belongs
	methanolSample  = "OC-012"
	straySample     = "OC-042"
)

// plant puts the troubles into the plans, before anything is written.
func (b *builder) plant(plans []*plan) {
	by := map[string]*plan{}
	for _, p := range plans {
		by[p.name] = p
	}
	b.out.Troubles = []Trouble{
		drift(by[congener2]),
		dirtyBlank(by[metals1]),
		splitDuplicate(by[wood2]),
		brokenOff(by[wood1]),
		b.slip(),
		strayed(by[colour1]),
		methanolNotice(),
		expired(by[colour2]),
	}
}

// drift lets the sensitivity for acetaldehyde fall over the run's last bracket.
func drift(p *plan) Trouble {
	t := Trouble{
		Name:  "check standard drifts",
		Story: "Towards the end of the run the inlet holds acetaldehyde back. The last check standard recovers about 84 %, so the bracket before it is held for acetaldehyde, on both bases.",
	}
	last := p.entries[len(p.entries)-1]
	opening := last.position - 1
	for p.entries[opening-1].role != worklist.RoleCheck {
		opening--
	}
	for _, e := range p.entries[opening:] {
		gone := float64(e.position-opening) / float64(last.position-opening)
		e.sensitivity = map[string]float64{"acetaldehyde": 1 - 0.16*gone}
		if e.role == worklist.RoleSample {
			for _, basis := range []string{qc.BasisAsIs, qc.BasisPerAlcohol} {
				t.Held = append(t.Held, Held{Key{e.sample, "acetaldehyde", basis}, p.name, method.RuleCheckStandard})
			}
		}
	}
	return t
}

// dirtyBlank leaves copper in the blank of the second preparation.
func dirtyBlank(p *plan) Trouble {
	t := Trouble{
		Name:  "method blank is contaminated",
		Story: "The blank of the second preparation took up copper from its vessel. That preparation is held for copper, the other one and all other elements are free.",
	}
	var prep string
	for _, e := range p.entries {
		if e.role == worklist.RoleMethodBlank {
			prep = e.prepBatch // the last one stays
		}
	}
	for _, e := range p.entries {
		switch {
		case e.prepBatch != prep:
		case e.role == worklist.RoleMethodBlank:
			amounts := map[string]float64{}
			for name, v := range e.solution.amounts {
				amounts[name] = v
			}
			amounts["copper"] = 6 // µg/L, six times the limit of quantitation
			e.solution.amounts = amounts
		case e.role == worklist.RoleSample:
			t.Held = append(t.Held, Held{Key{e.sample, "copper", qc.BasisAsIs}, p.name, method.RuleMethodBlank})
		}
	}
	return t
}

// splitDuplicate loses ellagic acid from a duplicate.
func splitDuplicate(p *plan) Trouble {
	t := Trouble{
		Name:  "duplicates disagree",
		Story: "Ellagic acid settled in the duplicate's vial. The pair differs by a third, so the preparation is held for ellagic acid.",
	}
	for _, e := range p.entries {
		switch e.role {
		case worklist.RoleDuplicate:
			e.solution.amounts["ellagic acid"] *= 0.62
		case worklist.RoleSample:
			t.Held = append(t.Held, Held{Key{e.sample, "ellagic acid", qc.BasisAsIs}, p.name, method.RuleDuplicate})
		}
	}
	return t
}

// brokenOff names the injection whose file is never finished.
func brokenOff(p *plan) Trouble {
	t := Trouble{
		Name:  "file breaks off",
		Story: "The instrument PC lost power while it wrote one injection. The file is never completed: it is kept, and refused as incomplete. The sample has no wood results; the rest of the run is free.",
	}
	for _, e := range p.entries {
		if e.role == worklist.RoleSample && e.sample == brokenOffSample {
			t.Unfinished = []File{{p.instrument, e.file, p.name, e.position, e.sample}}
		}
	}
	return t
}

// slip names what follows from one wrong number in the first strength export.
func (b *builder) slip() Trouble {
	t := Trouble{
		Name:  "export is corrected after release",
		Story: "The first export of the density meter has 41.42 where 44.12 belongs. The same file is exported again with the one number changed: the strength and everything per hectolitre of pure alcohol that was computed with it are withdrawn and released anew.",
	}
	wrong := b.find(slippedSample)
	t.Corrected = []Correction{{Key{slippedSample, strengthName, qc.BasisAsIs}, strength1, slippedStrength, 0.005}}
	wrong.history.strength = slippedStrength
	for _, first := range (&plan{prefix: "GC", dilution: 1}).truthsOf(wrong) {
		if first.Basis == qc.BasisPerAlcohol {
			t.Corrected = append(t.Corrected, Correction{Key{slippedSample, first.Analyte, first.Basis}, congener1, first.Value, first.Tolerance})
		}
	}
	return t
}

// strayed names the results of the sample that no register knows.
func strayed(p *plan) Trouble {
	t := Trouble{
		Name:  "sample is not registered",
		Story: "A bottle stands in the worklist and in no register. Its results are held until somebody registers it.",
	}
	for _, a := range absorbances {
		t.Held = append(t.Held, Held{Key{straySample, a.name, qc.BasisAsIs}, p.name, method.RuleRegistered})
	}
	return t
}

// methanolNotice names the result above the legal limit.
func methanolNotice() Trouble {
	return Trouble{
		Name:    "methanol above the legal limit",
		Story:   "A perry spirit was fermented on the pulp and has more than 1000 g/hL p.a. of methanol. The result is sound: it is released, with a safety notice.",
		Notices: []Key{{methanolSample, "methanol", qc.BasisPerAlcohol}},
	}
}

// expired names the results of the batch whose check standard was out of date.
func expired(p *plan) Trouble {
	t := Trouble{
		Name:  "standard has expired",
		Story: "The small colour batch was checked with a dichromate solution that had expired twelve days before. The absorbances found are right, and held all the same.",
	}
	for _, sample := range p.batch().Samples {
		for _, a := range absorbances {
			t.Held = append(t.Held, Held{Key{sample, a.name, qc.BasisAsIs}, p.name, method.RuleStandardValidity})
		}
	}
	return t
}
