package qc

import (
	"fmt"
	"testing"
	"time"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// Sizes of the invented batch of the benchmarks.
const (
	longAnalytes     = 30
	longPerAlcohol   = 5 // of these, reported per hectolitre of pure alcohol too
	longCheckEvery   = 10
	longPrepSamples  = 20 // samples of a preparation batch, beside a blank and a duplicate
	longAcquisitions = 1000
)

// longBatch gives a closed batch of so many recorded acquisitions, each a table with
// all analytes and the internal standard: calibration standards, an initial check
// standard, a check standard in every tenth place, and preparation batches of a
// method blank, samples and a duplicate.
func longBatch(acquisitions int) *Input {
	in := &Input{
		Schema: InputSchema, Method: longMethod(),
		Documents: []DocumentRef{{Kind: "method", Name: "congeners", Version: "3", SHA256: "aa"}},
		Batch:     Batch{Name: "GC-2026-008", Instrument: "GC-1", Closed: true, Cause: "worklist complete"},
	}
	list := func(id, lot string, amount float64) {
		s := standard.Standard{ID: id, Lot: lot, Maker: "invented maker", Expires: "2026-12-31"}
		for i := range longAnalytes {
			s.Values = append(s.Values, standard.Value{Analyte: longAnalyte(i), Value: amount, Unit: "mg/L"})
		}
		in.Standards = append(in.Standards, s)
	}
	add := func(line worklist.Line, amount float64) int {
		line.Position = len(in.Members) + 1
		in.Members = append(in.Members, longMember(line, amount))
		return line.Position
	}
	for i, amount := range []float64{10, 50, 100, 200, 400} {
		id := fmt.Sprintf("CAL-%d", i+1)
		list(id, "L1", amount)
		add(worklist.Line{Role: worklist.RoleStandard, Standards: []string{id}}, amount)
	}
	list("ICV", "L2", 150)
	list("CCV", "L1", 100)
	add(worklist.Line{Role: worklist.RoleInitialCheck, Standards: []string{"ICV"}}, 153)
	inPrep, prep, parent, sample := 0, 0, 0, ""
	for next := 1; len(in.Members) < acquisitions; {
		if (len(in.Members)+1)%longCheckEvery == 0 || len(in.Members)+1 == acquisitions {
			add(worklist.Line{Role: worklist.RoleCheck, Standards: []string{"CCV"}}, 98)
			continue
		}
		name := fmt.Sprintf("P%d", prep+1)
		switch inPrep {
		case 0:
			add(worklist.Line{Role: worklist.RoleMethodBlank, PrepBatch: name}, 1)
		case 2: // behind the first sample
			add(worklist.Line{Role: worklist.RoleDuplicate, Sample: sample, PrepBatch: name, Parent: parent}, 124)
		default:
			sample = fmt.Sprintf("S-%d", next)
			parent = add(worklist.Line{Role: worklist.RoleSample, Sample: sample, PrepBatch: name}, 120)
			in.Samples = append(in.Samples, SampleFacts{ID: sample, Category: "cider spirit"})
			in.Related = append(in.Related, Related{Quantity: "strength", Kind: "real", Sample: sample, Result: "strength of " + sample, Revision: "r1", Value: 40, Unit: "% vol"})
			next++
		}
		if inPrep++; inPrep == longPrepSamples+2 {
			inPrep, prep = 0, prep+1
		}
	}
	return in
}

func longAnalyte(i int) string { return fmt.Sprintf("analyte %02d", i+1) }

func longMethod() method.Method {
	m := benchMethod()
	m.Analytes, m.Notices = nil, nil
	for i := range longAnalytes {
		a := benchMethod().Analytes[1]
		a.Name, a.CAS = longAnalyte(i), ""
		a.Source = method.Source{Table: &method.TableSource{Match: []string{longAnalyte(i)}, Value: "area"}}
		if i < longPerAlcohol {
			a.Report.PerAlcohol = &method.PerAlcohol{Unit: "g/hL p.a.", Significant: ptr(3)}
		}
		m.Analytes = append(m.Analytes, a)
	}
	return m
}

func longMember(line worklist.Line, amount float64) Member {
	line.Run, line.Dilution, line.Row = "R1", 1, line.Position+2
	line.Vial = fmt.Sprintf("v%d", line.Position)
	at := benchStart.Add(time.Duration(line.Position) * time.Minute)
	red := &Reduction{Engine: Engine, Plan: "p"}
	for i := range longAnalytes {
		// Amounts differ a little from analyte to analyte, as numbers of many digits do.
		area := amount * (1 + float64((line.Position*7+i*13)%100-50)/5000) * benchSlope * benchISArea
		red.Rows = append(red.Rows, benchRow(i+2, longAnalyte(i), area))
	}
	red.Rows = append(red.Rows, benchRow(longAnalytes+2, "pentan-3-ol", benchISArea))
	return Member{
		Line: line, State: MemberRecorded, Reduction: red,
		Acquisition: &AcquisitionRef{Instrument: "GC-1", Key: fmt.Sprintf("R1/%04d", line.Position), Revision: "r1", File: "run.csv"},
		Started:     parsers.Started{Local: at.Format("2006-01-02T15:04:05"), Zone: "UTC", At: &at, Status: parsers.StartZoned},
	}
}

// arrived gives the batch as it is when only so many acquisitions have come in; the
// others are awaited.
func arrived(in *Input, acquisitions int) *Input {
	out := *in
	out.Batch.Closed, out.Batch.Cause = false, ""
	out.Members = append([]Member{}, in.Members...)
	for i := acquisitions; i < len(out.Members); i++ {
		out.Members[i] = Member{Line: in.Members[i].Line, State: MemberAwaited}
	}
	return &out
}

// The invented batch is what it is meant to be, whole and while it grows.
func TestLongBatch(t *testing.T) {
	in := longBatch(200)
	ev, err := Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	want := len(in.Samples) * (longAnalytes + longPerAlcohol)
	if len(in.Members) != 200 || len(ev.Results) != want {
		t.Fatalf("%d acquisitions and %d results, want 200 and %d", len(in.Members), len(ev.Results), want)
	}
	for _, r := range ev.Results {
		if r.Disposition != Clear {
			t.Errorf("%s is held by %q", r.ID, r.HeldBy)
		}
	}
	partly, err := Evaluate(arrived(in, 95))
	if err != nil {
		t.Fatal(err)
	}
	held := 0
	for _, r := range partly.Results {
		if r.Disposition == Held {
			held++
		}
	}
	if len(partly.Results) >= want || held == 0 || held == len(partly.Results) {
		t.Errorf("of %d results, %d are held", len(partly.Results), held)
	}
}

func BenchmarkEvaluate(b *testing.B) {
	in := longBatch(longAcquisitions)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Evaluate(in); err != nil {
			b.Fatal(err)
		}
	}
}

// A run grows from 100 to 1,000 acquisitions and is evaluated again at every tenth
// arrival: once with a worklist that grows by a line with each, once with one that has
// all lines from the start.
func BenchmarkEvaluateArrivals(b *testing.B) {
	whole := longBatch(longAcquisitions)
	for name, at := range map[string]func(int) *Input{
		"lines come too": longBatch,
		"lines are there": func(acquisitions int) *Input {
			return arrived(whole, acquisitions)
		},
	} {
		b.Run(name, func(b *testing.B) {
			spent := map[int]time.Duration{}
			for b.Loop() {
				for acquisitions := 100; acquisitions <= longAcquisitions; acquisitions += 10 {
					b.StopTimer()
					in := at(acquisitions)
					b.StartTimer()
					began := time.Now()
					if _, err := Evaluate(in); err != nil {
						b.Fatal(err)
					}
					spent[acquisitions] += time.Since(began)
				}
			}
			for _, acquisitions := range []int{100, 300, 1000} {
				b.ReportMetric(float64(spent[acquisitions].Nanoseconds())/float64(b.N), fmt.Sprintf("ns/arrival@%d", acquisitions))
			}
		})
	}
}
