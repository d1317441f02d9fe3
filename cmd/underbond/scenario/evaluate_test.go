package scenario

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"path"
	"slices"
	"testing"
	"time"

	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/register"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// laboratory evaluates a scenario in memory: documents and exports in, evaluations out.
type laboratory struct {
	t         *testing.T
	s         *Scenario
	zone      *time.Location
	samples   []qc.SampleFacts
	standards []standard.Standard
	strengths []qc.Related
}

func newLaboratory(t *testing.T, s *Scenario) *laboratory {
	t.Helper()
	zone, err := time.LoadLocation(Zone)
	if err != nil {
		t.Fatal(err)
	}
	lab := &laboratory{t: t, s: s, zone: zone}
	for _, d := range s.Documents {
		switch d.Kind {
		case "register":
			r, err := register.Parse(d.File, d.Data)
			if err != nil {
				t.Fatal(err)
			}
			for _, sample := range r.Samples {
				lab.samples = append(lab.samples, qc.SampleFacts{ID: sample.ID, Category: sample.Category})
			}
		case "standards":
			list, err := standard.Parse(d.File, d.Data)
			if err != nil {
				t.Fatal(err)
			}
			lab.standards = list.Standards
		}
	}
	return lab
}

// acquired is one acquisition as it is bound to a worklist line.
type acquired struct {
	file      string
	header    parsers.Header
	reduction *qc.Reduction
}

// read reduces a batch's exports. Of a file written twice, attempt says which; files
// that were never finished are left out.
func (lab *laboratory) read(b Batch, attempt int) []acquired {
	lab.t.Helper()
	plan := qc.NewPlan(methodOf(lab.t, lab.s, b.Method))
	var all []acquired
	for _, file := range b.Files {
		var written []Step
		for _, step := range lab.s.Steps {
			if step.File == file {
				written = append(written, step)
			}
		}
		step := written[min(attempt, len(written)-1)]
		if step.Unfinished {
			continue
		}
		reducer := qc.NewReducer(plan, func(h parsers.Header, _ parsers.Trailer, r *qc.Reduction) error {
			if len(r.Problems) > 0 {
				lab.t.Errorf("%s record %d: %v", file, h.Record, r.Problems)
			}
			all = append(all, acquired{file, h, r})
			return nil
		})
		if _, err := readerOf(lab.t, lab.s, step.Instrument).Read(context.Background(), bytes.NewReader(step.Bytes), parsers.Options{}, reducer); err != nil {
			lab.t.Fatalf("%s: %v", file, err)
		}
	}
	return all
}

// evaluate evaluates a batch.
func (lab *laboratory) evaluate(b Batch, attempt int) *qc.Evaluation {
	lab.t.Helper()
	in := &qc.Input{Schema: qc.InputSchema, Method: *methodOf(lab.t, lab.s, b.Method), Samples: lab.samples, Standards: lab.standards, Related: lab.strengths}
	in.Batch = qc.Batch{Name: b.Name, Instrument: b.Instrument}
	var list *worklist.Worklist
	for _, d := range lab.s.Documents {
		if d.Kind == "worklist" && path.Base(d.File) == b.Name+".csv" {
			var err error
			if list, err = worklist.Parse(d.File, d.Data); err != nil {
				lab.t.Fatal(err)
			}
		}
	}
	complete, all := true, lab.read(b, attempt)
	for _, line := range list.Lines {
		m := qc.Member{Line: line, State: qc.MemberAwaited}
		i := slices.IndexFunc(all, func(a acquired) bool { return a.file == line.File && (line.Vial == "" || a.header.Vial == line.Vial) })
		if i < 0 {
			complete = false
		} else {
			sum := sha256.Sum256(fmt.Appendf(nil, "%s %d", all[i].file, all[i].header.Record))
			m.State, m.Started, m.Reduction = qc.MemberRecorded, all[i].header.Start.Resolve(lab.zone), all[i].reduction
			m.Acquisition = &qc.AcquisitionRef{Instrument: b.Instrument, Key: fmt.Sprintf("%s#%d", all[i].file, all[i].header.Record), Revision: hex.EncodeToString(sum[:]), File: all[i].file}
		}
		in.Members = append(in.Members, m)
	}
	if complete {
		in.Batch.Closed, in.Batch.Cause = true, "worklist complete"
	}
	out, err := qc.Evaluate(in)
	if err != nil {
		lab.t.Fatalf("evaluate %s: %v", b.Name, err)
	}
	return out
}

// everything evaluates all batches, strengths first.
func (lab *laboratory) everything(attempt int) map[string]*qc.Evaluation {
	lab.t.Helper()
	out := map[string]*qc.Evaluation{}
	lab.strengths = nil
	for _, strengths := range []bool{true, false} {
		for _, b := range lab.s.Batches {
			if (b.Method == "strength-dm") != strengths {
				continue
			}
			e := lab.evaluate(b, attempt)
			out[b.Name] = e
			for _, r := range e.Results {
				if r.Quantity != "" && r.Disposition == qc.Clear {
					lab.strengths = append(lab.strengths, qc.Related{Quantity: r.Quantity, Kind: r.Kind, Sample: r.Sample, Result: r.ID, Revision: "1", Value: *r.Value, Unit: r.Unit})
				}
			}
		}
	}
	return out
}

// TestEvaluationFindsTheTruth is what the scenario promises: in each batch exactly the
// named results are held, by the rule named, and all others are clear and true.
func TestEvaluationFindsTheTruth(t *testing.T) {
	for seed := range uint64(3) {
		t.Run(fmt.Sprintf("seed %d", seed), func(t *testing.T) {
			s := build(t, seed)
			evaluations := newLaboratory(t, s).everything(1)
			type place struct {
				batch string
				key   Key
			}
			truth, held, absent := map[place]Truth{}, map[place]string{}, map[place]bool{}
			notices := map[Key]bool{}
			for _, v := range s.Truth {
				truth[place{v.Batch, v.Key}] = v
			}
			for _, trouble := range s.Troubles {
				for _, h := range trouble.Held {
					held[place{h.Batch, h.Key}] = h.Rule
				}
				for _, f := range trouble.Unfinished {
					for _, v := range s.Truth {
						if v.Batch == f.Batch && v.Sample == f.Sample {
							absent[place{v.Batch, v.Key}] = true
						}
					}
				}
				for _, k := range trouble.Notices {
					notices[k] = true
				}
			}
			found := 0
			for batch, e := range evaluations {
				rules := map[string]string{}
				for _, c := range e.Checks {
					rules[c.ID] = c.Rule
				}
				for _, r := range e.Results {
					at := place{batch, Key{r.Sample, r.Analyte, r.Basis}}
					want, known := truth[at]
					if !known || absent[at] {
						t.Errorf("%s: a result of %s that should not be", batch, at.key)
						continue
					}
					found++
					judge(t, batch, r, want, held[at], rules, e.Checks)
					for _, n := range r.Notices {
						if above := n.Outcome == qc.OutcomeAbove; above != notices[at.key] || n.Unconfirmed {
							t.Errorf("%s: %s has the notice %q", batch, at.key, n.Text)
						}
					}
					if notices[at.key] && len(r.Notices) == 0 {
						t.Errorf("%s: %s has no notice", batch, at.key)
					}
				}
			}
			if want := len(truth) - len(absent); found != want || len(absent) == 0 {
				t.Errorf("%d results, want %d", found, want)
			}
		})
	}
}

// judge compares one result with the truth and with the trouble that holds it, if any.
func judge(t *testing.T, batch string, r qc.Result, want Truth, rule string, rules map[string]string, checks []qc.Check) {
	t.Helper()
	name := fmt.Sprintf("%s: %s %s %s", batch, r.Sample, r.Analyte, r.Basis)
	reasons := func() (all []string) {
		for _, c := range checks {
			if slices.Contains(r.HeldBy, c.ID) {
				all = append(all, c.Reason)
			}
		}
		return all
	}
	if rule != "" {
		if r.Disposition != qc.Held || len(r.HeldBy) == 0 {
			t.Errorf("%s is not held", name)
		}
		for _, id := range r.HeldBy {
			if rules[id] != rule {
				t.Errorf("%s is held by %s, want only %s: %q", name, rules[id], rule, reasons())
			}
		}
		return
	}
	if r.Disposition != qc.Clear {
		t.Errorf("%s is held: %q", name, reasons())
		return
	}
	if want.Censored {
		if r.Value != nil || r.Censored != qc.CensorBelowLOD && r.Censored != qc.CensorBelowLOQ {
			t.Errorf("%s is %q, the truth %v %s is below the limit", name, r.Reported, want.Value, want.Unit)
		}
		return
	}
	if r.Value == nil || r.Unit != want.Unit || !(math.Abs(*r.Value-want.Value) <= want.Tolerance) {
		t.Errorf("%s is %q %s, the truth is %v ± %v %s", name, r.Reported, r.Unit, want.Value, want.Tolerance, want.Unit)
	}
}

// TestFirstExportGivesTheWrongStrength: before the re-export, the values named by the
// corrections are released, and nothing else differs from the end.
func TestFirstExportGivesTheWrongStrength(t *testing.T) {
	s := build(t, 4)
	lab := newLaboratory(t, s)
	first, last := lab.everything(0), lab.everything(1)
	corrections := map[Key]Correction{}
	for _, trouble := range s.Troubles {
		for _, c := range trouble.Corrected {
			corrections[c.Key] = c
		}
	}
	if len(corrections) != 1+len(congeners) {
		t.Errorf("%d corrections, want %d", len(corrections), 1+len(congeners))
	}
	for batch, e := range first {
		for i, r := range e.Results {
			key := Key{r.Sample, r.Analyte, r.Basis}
			c, corrected := corrections[key]
			if changed := last[batch].Results[i].Reported != r.Reported; changed != (corrected && c.Batch == batch) {
				t.Errorf("%s: %v changes: %v", batch, key, changed)
			}
			if corrected && (r.Disposition != qc.Clear || !(math.Abs(*r.Value-c.First) <= c.Tolerance)) {
				t.Errorf("%s: %v is first %s (%s), want %v ± %v", batch, key, r.Reported, r.Disposition, c.First, c.Tolerance)
			}
		}
	}
}

// TestCongenersWaitForStrength: without strengths only results on the other basis clear.
func TestCongenersWaitForStrength(t *testing.T) {
	s := build(t, 1)
	lab := newLaboratory(t, s)
	for _, b := range s.Batches {
		if b.Name != congener1 {
			continue
		}
		for _, r := range lab.evaluate(b, 1).Results {
			if waits := r.Basis == qc.BasisPerAlcohol; waits != (r.Disposition == qc.Held) || waits != (len(r.WaitingFor) == 1) {
				t.Errorf("%s %s %s is %s, waiting for %q", r.Sample, r.Analyte, r.Basis, r.Disposition, r.WaitingFor)
			}
		}
	}
}
