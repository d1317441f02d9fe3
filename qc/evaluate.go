package qc

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// Evaluate judges a batch: it fits the calibrations, applies the method's rules and
// those always in force, computes the results of the samples and says for each
// whether it is clear or held, by which checks and waiting for what. It depends on
// nothing but its input, and on no order within it.
//
// The error is an *InputError when in is no valid Input. Whatever the measurements
// say is a verdict.
func Evaluate(in *Input) (*Evaluation, error) {
	in = in.Ordered()
	if err := in.validate(); err != nil {
		return nil, err
	}
	digest, _, err := Digest(in)
	if err != nil {
		return nil, faulty("as a whole", "%v", err)
	}
	e := newEvaluator(in)
	e.orderFindings()
	e.replicateFindings()
	e.fitCurves()
	e.calibrationChecks()
	for i := range in.Method.Rules {
		r := &in.Method.Rules[i]
		switch r.Rule {
		case method.RuleMethodBlank:
			e.methodBlanks(r)
		case method.RuleDuplicate:
			e.duplicates(r)
		case method.RuleCheckStandard:
			e.checkStandards(r)
		case method.RuleInternalStandard:
			e.internalStandards(r)
		}
	}
	e.standardValidity()
	e.identities()
	e.registrations()
	e.measurements()
	e.strengths()
	return e.finish(digest), nil
}

// evaluator holds one evaluation while it is made.
type evaluator struct {
	in      *Input
	method  *method.Method
	entries []*entry // by position
	order   []*entry // by acquisition
	inRun   map[string]*runOrder
	at      map[int]*entry // position
	index   map[int]int    // position: place in entries
	runs    []string       // in the order of their first position
	lists   map[string]*standard.Standard
	samples map[string]*SampleFacts
	related map[string][]*Related // by sample

	calibrants map[string][]*entry   // calibration standards by run
	curves     map[curveKey]*curve   // by the run that the curve serves
	references map[string]*reference // by the run of the calibration standards
	bracket    map[bracketKey][]int  // positions that a check standard covers

	strength map[string]strength // by sample

	checks   []*Check
	ids      map[string]int
	findings []Finding
	found    map[Finding]bool           // findings that are made once
	holds    map[int]map[cover][]string // by position: check ids that hold its results
	waits    map[string]string          // check id: what it waits for
}

// entry is a worklist line with what was found for it.
type entry struct {
	*Member
	words      string // its name, once it was asked for
	rank       int    // place in the order of acquisition
	quantities []*quantity
	outcomes   []*outcome
	internal   map[*method.Rule]judgement
}

func newEvaluator(in *Input) *evaluator {
	e := &evaluator{
		in: in, method: &in.Method,
		at: map[int]*entry{}, index: map[int]int{},
		lists: map[string]*standard.Standard{}, samples: map[string]*SampleFacts{}, related: map[string][]*Related{},
		calibrants: map[string][]*entry{}, curves: map[curveKey]*curve{}, references: map[string]*reference{}, bracket: map[bracketKey][]int{},
		strength: map[string]strength{}, ids: map[string]int{}, found: map[Finding]bool{}, holds: map[int]map[cover][]string{}, waits: map[string]string{},
	}
	for i := range in.Members {
		m := &entry{
			Member:     &in.Members[i],
			quantities: make([]*quantity, len(in.Method.Analytes)),
			outcomes:   make([]*outcome, len(in.Method.Analytes)),
		}
		e.entries = append(e.entries, m)
		e.at[m.Line.Position], e.index[m.Line.Position] = m, i
		if !slices.Contains(e.runs, m.Line.Run) {
			e.runs = append(e.runs, m.Line.Run)
		}
		if m.Line.Role == worklist.RoleStandard {
			e.calibrants[m.Line.Run] = append(e.calibrants[m.Line.Run], m)
		}
	}
	for i := range in.Standards {
		e.lists[in.Standards[i].ID] = &in.Standards[i]
	}
	for i := range in.Samples {
		e.samples[in.Samples[i].ID] = &in.Samples[i]
	}
	for i := range in.Related {
		r := &in.Related[i]
		e.related[r.Sample] = append(e.related[r.Sample], r)
	}
	e.order = inOrder(e.entries)
	e.inRun = byRun(e.order)
	return e
}

// isMeasured tells whether checks cover the entry: what is reported, and what is
// measured like it.
func (m *entry) isMeasured() bool {
	switch m.Line.Role {
	case worklist.RoleSample, worklist.RoleDuplicate, worklist.RoleSpike, worklist.RoleControl, worklist.RoleReference:
		return true
	}
	return false
}

// isTest tells whether the entry is a test portion of a sample, which only a
// calibration measured before it may quantify.
func (m *entry) isTest() bool {
	return m.Line.Role == worklist.RoleSample || m.Line.Role == worklist.RoleDuplicate || m.Line.Role == worklist.RoleSpike
}

// name is the entry in words: "check standard CCV-4 at position 21".
func (m *entry) name() string {
	if m.words == "" {
		m.words = m.describe()
	}
	return m.words
}

func (m *entry) describe() string {
	name := m.Line.Sample
	if !m.isTest() && len(m.Line.Standards) > 0 {
		name = strings.Join(m.Line.Standards, " + ")
	}
	name = cmp.Or(name, m.Line.Vial, m.Line.File)
	return strings.Join(strings.Fields(fmt.Sprintf("%s %s at position %d", m.Line.Role, name, m.Line.Position)), " ")
}

// absence says what an entry without acquisition means for a check that needs it.
func (e *evaluator) absence(m *entry) judgement {
	switch {
	case m.State == MemberAmbiguous:
		return judgement{
			verdict: Pending, reason: fmt.Sprintf("%d acquisitions claim the %s", len(m.Claimants), m.name()),
			waiting: "a decision which acquisition is the " + m.name(),
		}
	case e.in.Batch.Closed:
		return judgement{verdict: Missing, reason: fmt.Sprintf("the batch closed without the %s", m.name())}
	default:
		return judgement{verdict: Pending, reason: fmt.Sprintf("the %s is not recorded yet", m.name()), waiting: m.name()}
	}
}

// judgement is a verdict with its reason, without subject and coverage.
type judgement struct {
	verdict   string
	reason    string
	waiting   string
	statistic string
	observed  *float64
	low, high *float64
	unit      string
}

func (e *evaluator) closedOr(open string) string {
	if e.in.Batch.Closed {
		return Missing
	}
	return open
}

func (e *evaluator) finish(digest string) *Evaluation {
	out := &Evaluation{
		Schema: EvaluationSchema, Engine: Engine, Batch: e.in.Batch.Name,
		Method: e.method.Name + " " + e.method.Version, Closed: e.in.Batch.Closed, InputSHA256: digest,
		Calibrations: e.calibrations(), Results: e.results(),
	}
	for _, d := range e.in.Documents {
		if d.Kind == "method" && d.Name == e.method.Name && d.Version == e.method.Version {
			out.MethodSHA256 = d.SHA256
		}
	}
	out.Checks = arranged(e.checks, compareChecks)
	out.Findings = sorted(e.findings, func(a, b *Finding) int {
		return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(a.Subject, b.Subject), cmp.Compare(a.Text, b.Text))
	})
	return out
}

// compareChecks stops at the first difference, as checks are many. No two have one id.
func compareChecks(a, b *Check) int {
	if c := strings.Compare(a.Rule, b.Rule); c != 0 {
		return c
	}
	if c := strings.Compare(a.Analyte, b.Analyte); c != 0 {
		return c
	}
	if c := slices.Compare(a.Positions, b.Positions); c != 0 {
		return c
	}
	return strings.Compare(a.ID, b.ID)
}
