// Package scenario builds the demonstration: a survey of apple and pear spirits in an
// invented county, by an invented laboratory, with trouble planted in it. Each bottle
// has a hidden history from which its chemistry follows; the package knows the truth,
// writes the documents and instrument exports from which that truth has to be found
// again, and says which results must stay held. Everything in it is invented.
//
// The same seed gives the same bytes. Noise is cut off at a fixed multiple of its
// standard deviation, so the stated tolerances and the list of held results hold for
// every seed.
package scenario

import (
	"fmt"
	"time"

	"underbond/parsers"
)

// Zone is the time zone of all instrument PCs of the demonstration. Wall clock times in
// exports are read in it.
const Zone = "Europe/Berlin"

// zoneOffset is the zone's offset from UTC in all runs: they end before summer time begins.
const zoneOffset = time.Hour

// Scenario is everything that the demonstration needs and everything it must end with.
type Scenario struct {
	Instruments []Instrument
	Documents   []Document
	// Batches are the analytical batches in the order of their worklists' names.
	Batches []Batch
	// Steps are the exports in the order in which the instruments write them.
	Steps []Step
	Truth []Truth
	// Troubles are the planted troubles. Nothing else goes wrong.
	Troubles []Trouble
}

// Instrument is one instrument of the laboratory and how its exports are read.
type Instrument struct {
	Name    string
	Format  string // as package parsers names it
	Profile string // of delimited text
}

// Document is a method, profile, worklist, register or standards list as a file.
type Document struct {
	Kind string // as document.Detect names it
	File string // with its folder, slash separated
	Data []byte
}

// Batch names a batch and what belongs to it.
type Batch struct {
	Name       string // of the worklist too
	Method     string
	Instrument string
	Files      []string // base names of its exports, each once
	Samples    []string // in worklist order, duplicates not repeated
}

// Key names a result as readers see it: one sample, one analyte, one basis.
type Key struct {
	Sample  string
	Analyte string
	Basis   string // qc.BasisAsIs or qc.BasisPerAlcohol
}

// Step is one file as an instrument writes it.
type Step struct {
	Instrument string
	File       string // base name in the instrument's folder; a later step may write the same name again
	Bytes      []byte
	// Chunks are the lengths of the pieces in which a slow instrument writes Bytes. They sum to its length.
	Chunks []int
	// WaitFor are results that must be released before the step is written.
	WaitFor []Key
	// Unfinished: the instrument stopped in the middle and never completes the file.
	Unfinished bool
}

// Pieces cuts Bytes into the chunks.
func (s Step) Pieces() [][]byte {
	var pieces [][]byte
	at := 0
	for _, n := range s.Chunks {
		pieces = append(pieces, s.Bytes[at:at+n])
		at += n
	}
	return pieces
}

// Truth is the true value of one result.
type Truth struct {
	Key
	Batch string // the batch that measures it
	Value float64
	Unit  string
	// Tolerance is the largest difference from Value, in Unit, that the generated noise
	// can bring about.
	Tolerance float64
	// Censored: the value lies below the limit of quantitation, readers get no number.
	Censored bool
}

// Build makes the scenario of a seed.
func Build(seed uint64) (*Scenario, error) {
	b := &builder{seed: seed, cellar: fillCellar(seed), stray: strayBottle(seed)}
	b.out.Instruments = instruments()
	if err := b.staticDocuments(); err != nil {
		return nil, err
	}
	b.document("register", "registers/county-survey-2026.csv", registerCSV(b.cellar))
	b.document("standards", "standards/standards-2026.csv", standardsCSV())
	plans := b.plans()
	b.plant(plans)
	exports := map[string][]export{}
	for _, p := range plans {
		b.document("worklist", "worklists/"+p.name+".csv", worklistCSV(p))
		b.out.Batches = append(b.out.Batches, p.batch())
		b.out.Truth = append(b.out.Truth, p.truths(b)...)
		written, err := p.write(newNoise(seed, p.name))
		if err != nil {
			return nil, fmt.Errorf("write the exports of %s: %w", p.name, err)
		}
		exports[p.name] = written
	}
	b.out.Steps = b.steps(plans, exports)
	return &b.out, nil
}

func instruments() []Instrument {
	return []Instrument{
		{"GC-1", parsers.FormatDelimited, "gc-peak-table"},
		{"LC-1", parsers.FormatMzML, ""},
		{"UV-1", parsers.FormatJCAMPDX, ""},
		{"DM-1", parsers.FormatDelimited, "density-log"},
		{"PM-1", parsers.FormatDelimited, "metals-table"},
	}
}

// builder gathers the scenario.
type builder struct {
	seed   uint64
	cellar []bottle
	stray  bottle // stands in a worklist and in no register
	out    Scenario
}

func (b *builder) document(kind, file string, data []byte) {
	b.out.Documents = append(b.out.Documents, Document{Kind: kind, File: file, Data: data})
}

// day gives a wall clock time of March 2026. It carries no zone: exports print it as
// the instrument PC shows it.
func day(date, hour, minute int) time.Time {
	return time.Date(2026, time.March, date, hour, minute, 0, 0, time.UTC)
}
