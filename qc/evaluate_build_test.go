package qc

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

func ptr[T any](v T) *T { return &v }

// Figures of the invented bench that tests work at: the response ratio to the internal
// standard is a thousandth of the amount in mg/L.
const (
	benchISArea = 2000.0
	benchSlope  = 0.001
)

var benchStart = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func benchMethod() method.Method {
	table := func(name string) method.Source {
		return method.Source{Table: &method.TableSource{Match: []string{name}, Value: "area"}}
	}
	line := method.Calibration{Model: method.ModelStraightLine, Weighting: method.WeightInverseX}
	return method.Method{
		Kind: "method", Name: "congeners", Version: "3", Invented: true,
		InternalStandard: &method.InternalStandard{Name: "pentan-3-ol", Source: table("pentan-3-ol"), Amount: 100, Unit: "mg/L"},
		Analytes: []method.Analyte{
			{Name: "methanol", CAS: "67-56-1", Unit: "mg/L", Source: table("MeOH"), Calibration: line, LOD: ptr(3.0), LOQ: ptr(10.0),
				Report: method.Report{Unit: "mg/L", Decimals: ptr(1), PerAlcohol: &method.PerAlcohol{Unit: "g/hL p.a.", Significant: ptr(3)}}},
			{Name: "ethyl acetate", CAS: "141-78-6", Unit: "mg/L", Source: table("EtOAc"), Calibration: line, LOD: ptr(3.0), LOQ: ptr(10.0),
				Report: method.Report{Unit: "mg/L", Significant: ptr(3)}},
		},
		Rules: []method.Rule{
			{Rule: method.RuleCalibration, Source: "invented", MinLevels: 5, MinR2: ptr(0.998), BackCalc: ptr(10.0), BackCalcFirst: ptr(20.0)},
			{Rule: method.RuleMethodBlank, Source: "invented", LOQFraction: ptr(0.5)},
			{Rule: method.RuleDuplicate, Source: "invented", Statistic: "RSD", High: ptr(10.0)},
			{Rule: method.RuleCheckStandard, Source: "invented", Low: ptr(90.0), High: ptr(110.0)},
			{Rule: method.RuleRange, Source: "invented"},
			{Rule: method.RuleInternalStandard, Source: "invented", Low: ptr(70.0), High: ptr(130.0)},
		},
		Notices: []method.Notice{
			{Analyte: "methanol", Basis: BasisPerAlcohol, Categories: []string{"cider spirit"}, High: 1000, Unit: "g/hL p.a.",
				Act: "invented act, clause 4", Toxic: true, Caution: "Methanol is toxic."},
		},
	}
}

// bench is a batch with everything in order; tests spoil it.
//
//	1–5 calibration standards, 6 initial check standard, 7 blank of P1, 8 S-1, 9 S-2,
//	10 duplicate of 8, 11 check standard, 12 blank of P2, 13 S-3, 14 duplicate of 13,
//	15 check standard, 16 S-4 (P1), 17 S-5 (P2), 18 check standard
type bench struct {
	*testing.T
	in *Input
}

func newBench(t *testing.T) *bench {
	b := &bench{T: t, in: &Input{
		Schema: InputSchema, Method: benchMethod(),
		Documents: []DocumentRef{{Kind: "method", Name: "congeners", Version: "3", SHA256: "aa"}},
		Batch:     Batch{Name: "GC-2026-007", Instrument: "GC-1"},
	}}
	for i, amount := range []float64{10, 50, 100, 200, 400} {
		id := fmt.Sprintf("CAL-%d", i+1)
		b.list(id, "L1", amount)
		b.add(worklist.Line{Position: i + 1, Role: worklist.RoleStandard, Standards: []string{id}}, amount)
	}
	b.list("ICV", "L2", 150)
	b.list("CCV", "L1", 100)
	check := func(position int) worklist.Line {
		return worklist.Line{Position: position, Role: worklist.RoleCheck, Standards: []string{"CCV"}}
	}
	sample := func(position int, id, prep string) worklist.Line {
		return worklist.Line{Position: position, Role: worklist.RoleSample, Sample: id, PrepBatch: prep}
	}
	duplicate := func(position, parent int, id, prep string) worklist.Line {
		return worklist.Line{Position: position, Role: worklist.RoleDuplicate, Sample: id, PrepBatch: prep, Parent: parent}
	}
	b.add(worklist.Line{Position: 6, Role: worklist.RoleInitialCheck, Standards: []string{"ICV"}}, 153)
	b.add(worklist.Line{Position: 7, Role: worklist.RoleMethodBlank, PrepBatch: "P1"}, 1)
	b.add(sample(8, "S-1", "P1"), 120)
	b.add(sample(9, "S-2", "P1"), 80)
	b.add(duplicate(10, 8, "S-1", "P1"), 124)
	b.add(check(11), 98)
	b.add(worklist.Line{Position: 12, Role: worklist.RoleMethodBlank, PrepBatch: "P2"}, -1)
	b.add(sample(13, "S-3", "P2"), 200)
	b.add(duplicate(14, 13, "S-3", "P2"), 190)
	b.add(check(15), 101)
	b.add(sample(16, "S-4", "P1"), 300)
	b.add(sample(17, "S-5", "P2"), 60)
	b.add(check(18), 103)
	for i := 1; i <= 5; i++ {
		id := fmt.Sprintf("S-%d", i)
		b.in.Samples = append(b.in.Samples, SampleFacts{ID: id, Category: "cider spirit"})
		b.in.Related = append(b.in.Related, Related{Quantity: "strength", Kind: "real", Sample: id, Result: "strength of " + id, Revision: "r1", Value: 40, Unit: "% vol"})
	}
	return b
}

func (b *bench) list(id, lot string, amount float64) {
	b.in.Standards = append(b.in.Standards, standard.Standard{ID: id, Lot: lot, Maker: "invented maker", Expires: "2026-12-31", Values: []standard.Value{
		{Analyte: "methanol", Value: amount, Unit: "mg/L"}, {Analyte: "ethyl acetate", Value: amount, Unit: "mg/L"},
	}})
}

// add appends a recorded line with the same amount of both analytes.
func (b *bench) add(line worklist.Line, amount float64) {
	line.Run, line.Dilution, line.Row = "R1", 1, line.Position+2
	line.Vial = fmt.Sprintf("v%d", line.Position)
	b.in.Members = append(b.in.Members, Member{
		Line: line, State: MemberRecorded,
		Acquisition: &AcquisitionRef{Instrument: "GC-1", Key: fmt.Sprintf("R1/%02d", line.Position), Revision: "r1", File: "run.csv"},
	})
	b.acquire(line.Position, line.Position)
	b.amount(line.Position, "methanol", amount)
	b.amount(line.Position, "ethyl acetate", amount)
}

func (b *bench) member(position int) *Member {
	i := slices.IndexFunc(b.in.Members, func(m Member) bool { return m.Line.Position == position })
	if i < 0 {
		b.Fatalf("the bench has no position %d", position)
	}
	return &b.in.Members[i]
}

// acquire sets the time of a position: minutes from the start of the run.
func (b *bench) acquire(position, minute int) {
	m := b.member(position)
	at := benchStart.Add(time.Duration(minute) * time.Minute)
	m.Started = parsers.Started{Local: at.Format("2006-01-02T15:04:05"), Zone: "UTC", At: &at, Status: parsers.StartZoned}
	if m.Reduction == nil {
		m.Reduction = &Reduction{Engine: Engine, Plan: "p", Rows: []TableRow{
			benchRow(2, "MeOH", 0), benchRow(3, "EtOAc", 0), benchRow(4, "pentan-3-ol", benchISArea),
		}}
	}
}

func benchRow(line int, name string, area float64) TableRow {
	return TableRow{Line: line, Name: name, Values: []CellValue{{Meaning: "area", Text: fmt.Sprint(area), Value: &area}}}
}

var benchNames = map[string]string{"methanol": "MeOH", "ethyl acetate": "EtOAc", "pentan-3-ol": "pentan-3-ol"}

func (b *bench) row(position int, analyte string) *TableRow {
	rows := b.member(position).Reduction.Rows
	i := slices.IndexFunc(rows, func(r TableRow) bool { return r.Name == benchNames[analyte] })
	if i < 0 {
		b.Fatalf("position %d has no row for %s", position, analyte)
	}
	return &rows[i]
}

// amount sets what a position contains, in mg/L of the measured solution.
func (b *bench) amount(position int, analyte string, v float64) {
	b.row(position, analyte).Values[0] = CellValue{Meaning: "area", Text: fmt.Sprint(v), Value: ptr(v * benchSlope * benchISArea)}
}

// mark makes a position's cell one without number.
func (b *bench) mark(position int, analyte, text, mark string) {
	b.row(position, analyte).Values[0] = CellValue{Meaning: "area", Text: text, Mark: mark}
}

// drop removes a position's row: the export does not list the analyte.
func (b *bench) drop(position int, analyte string) {
	red := b.member(position).Reduction
	red.Rows = slices.DeleteFunc(red.Rows, func(r TableRow) bool { return r.Name == benchNames[analyte] })
}

// internal scales the internal standard of a position; ratios stay.
func (b *bench) internal(position int, factor float64) {
	for i := range b.member(position).Reduction.Rows {
		cell := &b.member(position).Reduction.Rows[i].Values[0]
		cell.Value = ptr(*cell.Value * factor)
	}
}

// await takes the acquisition of a position away.
func (b *bench) await(position int) {
	m := b.member(position)
	m.State, m.Acquisition, m.Reduction, m.Started = MemberAwaited, nil, nil, parsers.Started{}
}

// contest makes a second acquisition claim a position.
func (b *bench) contest(position int) {
	m := b.member(position)
	other := *m.Acquisition
	other.Key += "-again"
	m.Claimants = []AcquisitionRef{*m.Acquisition, other}
	m.State, m.Acquisition, m.Reduction, m.Started = MemberAmbiguous, nil, nil, parsers.Started{}
}

// strike removes a line from the worklist.
func (b *bench) strike(position int) {
	b.in.Members = slices.DeleteFunc(b.in.Members, func(m Member) bool { return m.Line.Position == position })
}

func (b *bench) shut() { b.in.Batch.Closed, b.in.Batch.Cause = true, "time" }

func (b *bench) rule(kind string) *method.Rule {
	for i := range b.in.Method.Rules {
		if b.in.Method.Rules[i].Rule == kind {
			return &b.in.Method.Rules[i]
		}
	}
	b.Fatalf("the bench method has no rule %q", kind)
	return nil
}

// without drops a rule from the method.
func (b *bench) without(kind string) {
	b.in.Method.Rules = slices.DeleteFunc(b.in.Method.Rules, func(r method.Rule) bool { return r.Rule == kind })
}

func (b *bench) evaluate() *judged {
	b.Helper()
	ev, err := Evaluate(b.in)
	if err != nil {
		b.Fatalf("evaluate: %v", err)
	}
	return &judged{T: b.T, Evaluation: ev}
}

// judged is an evaluation with the questions that tests ask.
type judged struct {
	*testing.T
	*Evaluation
}

func (j *judged) result(position int, analyte, basis string) Result {
	j.Helper()
	for _, r := range j.Results {
		if r.Position == position && r.Analyte == analyte && r.Basis == basis {
			return r
		}
	}
	j.Fatalf("no result for %s (%s) at position %d", analyte, basis, position)
	return Result{}
}

// held lists the positions whose as-is result of an analyte is held.
func (j *judged) held(analyte string) []int {
	positions := []int{}
	for _, r := range j.Results {
		if r.Analyte == analyte && r.Basis == BasisAsIs && r.Disposition == Held {
			positions = append(positions, r.Position)
		}
	}
	return positions
}

func (j *judged) wantHeld(analyte string, positions ...int) {
	j.Helper()
	if got := j.held(analyte); !slices.Equal(got, positions) {
		j.Errorf("held for %s: %v, want %v", analyte, got, positions)
	}
}

func (j *judged) check(id string) Check {
	j.Helper()
	var ids []string
	for _, c := range j.Checks {
		if c.ID == id {
			return c
		}
		ids = append(ids, c.ID)
	}
	j.Fatalf("no check %q among %q", id, ids)
	return Check{}
}

func (j *judged) wantVerdict(id, verdict string) Check {
	j.Helper()
	c := j.check(id)
	if c.Verdict != verdict {
		j.Errorf("%s: %s (%s), want %s", id, c.Verdict, c.Reason, verdict)
	}
	return c
}
