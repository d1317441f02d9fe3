package qc

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"underbond/parsers"
	"underbond/parsers/extract"
	"underbond/qc/method"
)

// Codes of the problems of a reduction.
const (
	ProblemPlan         = "reduce-plan"         // the plan itself cannot be used
	ProblemColumn       = "reduce-column"       // no table, or no column of the meaning wanted
	ProblemRetention    = "reduce-retention"    // retention times of a table have no usable unit
	ProblemOrdinate     = "reduce-ordinate"     // a figure of a spectrum is not to be had
	ProblemGrid         = "reduce-grid"         // a resampled spectrum is not to be had
	ProblemTrace        = "reduce-trace"        // no chromatogram, or more than one, agrees with a selection
	ProblemTimeAxis     = "reduce-time-axis"    // a chromatogram's times cannot be read as minutes
	ProblemChromatogram = "reduce-chromatogram" // points left out, or peaks not sought
)

// Reducer reduces the acquisitions that a reader finds, one after the other, as the
// plan asks. It is a parsers.Sink: it holds one signal at a time, beside one point of each
// trace to extract for each spectrum so far, and keeps copies of
// the little that remains. What the plan wants and the acquisition does not have is a
// problem in the reduction, never a silent gap.
//
// Table rows keep every numeric column with a meaning. A spectrum ordinate is
// interpolated between the two neighbouring points. Chromatograms are taken when a
// selection of the plan agrees or asks to extract them from the spectra, and their peaks are sought.
type Reducer struct {
	plan    Plan
	digest  string
	keep    func(parsers.Header, parsers.Trailer, *Reduction) error
	extract *extract.Sink // before the reducer's own part; nil when nothing is extracted
	made    *extracted    // behind it

	open      bool
	header    parsers.Header
	reduction *Reduction
	columns   map[string]bool // meanings seen
	tables    int
	points    []ordinateFound // by plan item
	grids     []gridFound     // by plan item
	spectra   int
	matches   []int // chromatograms that agree, by plan item
}

var _ parsers.Sink = (*Reducer)(nil)

// NewReducer makes a reducer that hands each acquisition's reduction to keep.
func NewReducer(plan Plan, keep func(parsers.Header, parsers.Trailer, *Reduction) error) *Reducer {
	r := &Reducer{plan: plan, digest: plan.Digest(), keep: keep}
	r.planExtraction()
	return r
}

// Errors of a sink that is called against the contract of parsers.Sink.
var errOutOfOrder = errors.New("reducer called out of order")

// Begin starts an acquisition.
func (r *Reducer) Begin(h parsers.Header) error {
	if r.open {
		return fmt.Errorf("begin record %d: %w: record %d has not ended", h.Record, errOutOfOrder, r.header.Record)
	}
	r.open = true
	r.header = h
	r.reduction = &Reduction{Engine: Engine, Plan: r.digest}
	r.columns, r.tables, r.spectra = map[string]bool{}, 0, 0
	r.points = make([]ordinateFound, len(r.plan.Ordinates))
	r.grids = make([]gridFound, len(r.plan.Grids))
	r.matches = make([]int, len(r.plan.Traces))
	if r.digest == "" {
		r.problem(ProblemPlan, "", "the plan holds a number that is not finite")
	}
	if r.extract != nil {
		return r.extract.Begin(h)
	}
	return nil
}

// Signal reduces one signal.
func (r *Reducer) Signal(s parsers.Signal) error {
	if !r.open {
		return fmt.Errorf("signal: %w: no acquisition has begun", errOutOfOrder)
	}
	switch s := s.(type) {
	case *parsers.Table:
		r.table(s)
	case *parsers.Spectrum:
		r.spectrum(s)
	case *parsers.Chromatogram:
		r.chromatogram(s)
	default:
		return fmt.Errorf("reduce record %d: a signal of unknown type %T", r.header.Record, s)
	}
	if r.extract != nil {
		return r.extract.Signal(s)
	}
	return nil
}

// End completes the acquisition and hands its reduction on.
func (r *Reducer) End(t parsers.Trailer) error {
	if !r.open {
		return fmt.Errorf("end: %w: no acquisition has begun", errOutOfOrder)
	}
	r.open = false
	r.endColumns()
	r.endOrdinates()
	r.endGrids()
	problems, err := r.endExtraction(t)
	if err != nil {
		return fmt.Errorf("extract the traces of record %d: %w", r.header.Record, err)
	}
	r.endTraces()
	for _, p := range problems {
		if p.Grade == parsers.Lost { // what the reduction was made from is not whole
			r.reduction.Problems = append(r.reduction.Problems, p)
		}
	}
	header, reduction := r.header, r.reduction
	r.header, r.reduction = parsers.Header{}, nil
	if err := r.keep(header, t, reduction); err != nil {
		return fmt.Errorf("keep the reduction of record %d: %w", header.Record, err)
	}
	return nil
}

func (r *Reducer) problem(code, element, format string, args ...any) {
	where := parsers.Place{Record: r.header.Record, Element: element}
	r.reduction.Problems = append(r.reduction.Problems, parsers.Warn(code, where, format, args...))
}

// endTraces reports the selections that not exactly one chromatogram agrees with.
func (r *Reducer) endTraces() {
	for i, n := range r.matches {
		switch {
		case n == 0:
			r.problem(ProblemTrace, "", "no %s the method's %s", agreeing(r.plan.Traces[i].Trace), traceWords(r.plan.Traces[i].Trace))
		case n > 1:
			r.problem(ProblemTrace, "", "%d chromatograms agree with the method's %s", n, traceWords(r.plan.Traces[i].Trace))
		}
	}
}

func agreeing(t method.Trace) string {
	if t.Extract != "" {
		return "spectrum is one for"
	}
	return "chromatogram agrees with"
}

// traceWords says what a selection asks for.
func traceWords(t method.Trace) string {
	if t.Extract != "" {
		return "extraction of " + extraction(t).String()
	}
	var parts []string
	if t.ID != "" {
		parts = append(parts, fmt.Sprintf("id %q", t.ID))
	}
	if t.Kind != "" {
		parts = append(parts, fmt.Sprintf("kind %q", t.Kind))
	}
	for _, given := range []struct {
		what  string
		value *float64
		unit  string
	}{{"wavelength", t.Wavelength, " nm"}, {"precursor m/z", t.Precursor, ""}, {"product m/z", t.Product, ""}} {
		if given.value != nil {
			parts = append(parts, fmt.Sprintf("%s %v%s", given.what, *given.value, given.unit))
		}
	}
	if len(parts) == 0 {
		return "selection of any chromatogram"
	}
	return "selection of " + strings.Join(parts, ", ")
}

// given makes a pointer to a copy of a finite number, and nil of NaN and infinities.
func given(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
