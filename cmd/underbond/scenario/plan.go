package scenario

import (
	"fmt"
	"time"

	"underbond/qc/worklist"
)

// plan is a batch as the laboratory sets it up.
type plan struct {
	name, method, instrument string
	prefix                   string        // of the standards' ids
	next                     time.Time     // start of the next acquisition
	cycle                    time.Duration // from one acquisition to the next
	extension                string        // of the export; with perFile, of each acquisition's own
	perFile                  bool          // one file an acquisition
	dilution                 float64       // of samples and duplicates
	entries                  []*entry
}

// entry is one position with what is really in the vial.
type entry struct {
	position          int
	prepBatch, prepID string
	file, vial        string
	sample, role      string
	standard          string
	dilution          float64
	parent            int
	start             time.Time
	solution          solution
	// sensitivity are factors of the instrument's response by analyte; 1 when absent.
	sensitivity map[string]float64
	// printed are values by analyte that the export shows instead of what was measured.
	printed map[string]float64
}

// solution is what is in a vial: amounts in the analytes' units, as measured.
type solution struct {
	amounts  map[string]float64
	spectrum spectrum
	thinned  float64 // by how much the spectrum's spirit was diluted; 0 is not at all
}

// title is what an export prints as the sample's name.
func (e *entry) title() string {
	switch e.role {
	case worklist.RoleMethodBlank:
		return "Blank " + e.prepBatch
	case worklist.RoleDuplicate:
		return e.sample + " dup"
	case worklist.RoleSample:
		return e.sample
	}
	return e.standard
}

func (p *plan) add(e entry) *entry {
	e.position = len(p.entries) + 1
	e.file = p.name + p.extension
	if p.perFile {
		e.file = fmt.Sprintf("%s_%02d%s", p.name, e.position, p.extension)
	} else {
		e.vial = fmt.Sprint(e.position)
	}
	if e.prepBatch != "" {
		e.prepID = fmt.Sprintf("%s-%02d", e.prepBatch, e.position)
	}
	if e.dilution == 0 {
		e.dilution = 1
	}
	e.start = p.next
	p.next = p.next.Add(p.cycle)
	p.entries = append(p.entries, &e)
	return &e
}

func (p *plan) calibrate(levels int) {
	for i := range levels {
		id := calibrant(p.prefix, i)
		p.add(entry{role: worklist.RoleStandard, standard: id, solution: solutionOf(id)})
	}
}

func (p *plan) check(role, id string) *entry {
	return p.add(entry{role: role, standard: id, solution: solutionOf(id)})
}

// blank adds a method blank. It is judged in the measured solution, undiluted.
func (p *plan) blank(prep string, s solution) {
	p.add(entry{role: worklist.RoleMethodBlank, prepBatch: prep, solution: s})
}

func (p *plan) samples(prep string, bottles []bottle) {
	for _, b := range bottles {
		p.add(entry{role: worklist.RoleSample, prepBatch: prep, sample: b.id, dilution: p.dilution, solution: diluted(b, p.dilution)})
	}
}

// duplicate repeats the sample of an earlier position from its preparation on.
func (p *plan) duplicate(sample string) *entry {
	for _, e := range p.entries {
		if e.role == worklist.RoleSample && e.sample == sample {
			copied := solution{amounts: map[string]float64{}, spectrum: e.solution.spectrum, thinned: e.solution.thinned}
			for name, amount := range e.solution.amounts {
				copied.amounts[name] = amount
			}
			return p.add(entry{role: worklist.RoleDuplicate, prepBatch: e.prepBatch, sample: sample, dilution: e.dilution,
				parent: e.position, solution: copied})
		}
	}
	panic("scenario: no sample " + sample + " before its duplicate in " + p.name)
}

// diluted gives what a bottle becomes when it is diluted by a factor.
func diluted(b bottle, factor float64) solution {
	s := solution{amounts: map[string]float64{}, spectrum: b.truth.spectrum, thinned: factor}
	for name, amount := range b.truth.amounts {
		s.amounts[name] = amount / factor
	}
	return s
}
