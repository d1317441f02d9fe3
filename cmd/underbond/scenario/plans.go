package scenario

import (
	"time"

	"underbond/qc/worklist"
)

// Batches of the survey. The number in a name counts the instrument's batches.
const (
	strength1 = "DM-2026-011"
	strength2 = "DM-2026-012"
	congener1 = "GC-2026-031"
	congener2 = "GC-2026-032"
	wood1     = "LC-2026-041"
	wood2     = "LC-2026-042"
	colour1   = "UV-2026-021"
	colour2   = "UV-2026-022"
	metals1   = "PM-2026-051"
)

// plans sets up all batches: calibrants and a second source first, then samples between
// check standards at most ten apart, with a blank and a duplicate in each preparation.
func (b *builder) plans() []*plan {
	first, second := b.cellar[:12], b.cellar[12:]
	return []*plan{
		strengthPlan(strength1, day(2, 8, 30), first, "OC-002"),
		strengthPlan(strength2, day(4, 8, 20), second, "OC-015"),
		congenerPlan(congener1, day(3, 8, 15), first, "OC-003"),
		congenerPlan(congener2, day(5, 8, 5), second, "OC-015"),
		woodPlan(wood1, day(9, 7, 10), first, "OC-003"),
		woodPlan(wood2, day(11, 7, 25), second, "OC-015"),
		colourPlan(colour1, day(6, 9, 0), dichromateLot, [][]bottle{b.cellar[:10], b.cellar[10:20], {b.stray}}, "OC-013"),
		colourPlan(colour2, day(12, 9, 40), dichromateExpiredLot, [][]bottle{b.cellar[20:]}, "OC-024"),
		metalsPlan(metals1, day(17, 8, 0), first, second),
	}
}

func strengthPlan(name string, start time.Time, bottles []bottle, twice string) *plan {
	p := &plan{name: name, method: "strength-dm", instrument: "DM-1", next: start, cycle: 6 * time.Minute, extension: ".csv", dilution: 1}
	prep := "D-" + name[3:]
	p.check(worklist.RoleCheck, ethanolReference)
	p.samples(prep, bottles[:6])
	p.duplicate(twice)
	p.check(worklist.RoleCheck, ethanolReference)
	p.samples(prep, bottles[6:])
	p.check(worklist.RoleCheck, ethanolReference)
	return p
}

func congenerPlan(name string, start time.Time, bottles []bottle, twice string) *plan {
	p := &plan{name: name, method: "congeners-gc", instrument: "GC-1", prefix: "GC", next: start, cycle: 19 * time.Minute, extension: ".csv", dilution: 1}
	p.calibrated(bottles, twice)
	return p
}

func woodPlan(name string, start time.Time, bottles []bottle, twice string) *plan {
	p := &plan{name: name, method: "wood-lc", instrument: "LC-1", prefix: "LC", next: start, cycle: 28 * time.Minute, extension: ".mzML", perFile: true, dilution: 1}
	p.calibrated(bottles, twice)
	return p
}

// calibrated is the run of both chromatographs: twelve bottles in two brackets.
func (p *plan) calibrated(bottles []bottle, twice string) {
	prep := "P-" + p.name[3:]
	p.calibrate(len(levels))
	p.check(worklist.RoleInitialCheck, secondSource(p.prefix))
	p.blank(prep, solution{})
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
	p.samples(prep, bottles[:6])
	p.duplicate(twice)
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
	p.samples(prep, bottles[6:])
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
}

func colourPlan(name string, start time.Time, lot string, brackets [][]bottle, twice string) *plan {
	p := &plan{name: name, method: "colour-uv", instrument: "UV-1", next: start, cycle: 4 * time.Minute, extension: ".dx", perFile: true, dilution: spectrumDilution}
	prep := "K-" + name[3:]
	p.blank(prep, solution{})
	p.check(worklist.RoleCheck, lot)
	for i, bottles := range brackets {
		p.samples(prep, bottles)
		if i == len(brackets)-1 {
			p.duplicate(twice)
		}
		p.check(worklist.RoleCheck, lot)
	}
	return p
}

// metalsPlan measures two preparations in one run.
func metalsPlan(name string, start time.Time, first, second []bottle) *plan {
	p := &plan{name: name, method: "metals-pm", instrument: "PM-1", prefix: "PM", next: start, cycle: 5 * time.Minute, extension: ".csv", dilution: elementDilution}
	const a, b = "M-051-A", "M-051-B"
	traces := solution{amounts: map[string]float64{}}
	for _, m := range elements {
		traces.amounts[m.name] = 0.1 * m.floor // what the acid brings with it
	}
	p.calibrate(len(metalLevels))
	p.check(worklist.RoleInitialCheck, secondSource(p.prefix))
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
	p.blank(a, traces)
	p.samples(a, first[:7])
	p.duplicate("OC-003")
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
	p.samples(a, first[7:])
	p.blank(b, traces)
	p.samples(b, second[:3])
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
	p.samples(b, second[3:])
	p.duplicate("OC-015")
	p.check(worklist.RoleCheck, checkStandard(p.prefix))
	return p
}
