package qc

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"underbond/qc/method"
	"underbond/qc/worklist"
)

// controls are the positions of the bench that are neither sample nor spare.
var controls = []int{1, 2, 3, 4, 5, 6, 7, 10, 11, 12, 14, 15, 18}

// Whatever a control position covered is held when its acquisition is gone, be the batch
// open or closed, and nothing is held that it did not cover.
func TestControlTakenAwayHoldsWhatItCovered(t *testing.T) {
	whole := newBench(t).evaluate()
	for _, p := range controls {
		for _, closed := range []bool{false, true} {
			t.Run(fmt.Sprintf("position %d, closed %v", p, closed), func(t *testing.T) {
				b := newBench(t)
				b.await(p)
				if closed {
					b.shut()
				}
				ev := b.evaluate()
				held := 0
				for _, r := range whole.Results {
					covered := slices.ContainsFunc(whole.Checks, func(c Check) bool {
						return slices.Contains(c.Positions, p) && covers(c, r)
					})
					now := ev.result(r.Position, r.Analyte, r.Basis)
					if covered != (now.Disposition == Held) {
						t.Errorf("%s was covered: %v; now %s by %q", r.ID, covered, now.Disposition, now.HeldBy)
					}
					if covered {
						held++
					}
				}
				if held == 0 {
					t.Error("the position covered nothing")
				}
			})
		}
	}
}

// Struck from the worklist, a required control is as good as missing.
func TestControlStruckFromWorklistHolds(t *testing.T) {
	for p, want := range map[int][]int{
		1: {8, 9, 13, 16, 17}, 5: {8, 9, 13, 16, 17}, // too few levels
		6: {8, 9}, 18: {16, 17}, // no check before, none after
		7: {8, 9, 16}, 12: {13, 17}, // no blank of the preparation batch
		10: {8, 9, 16}, 14: {13, 17}, // no duplicate of it
	} {
		b := newBench(t)
		b.strike(p)
		b.evaluate().wantHeld("methanol", want...)
	}
}

func covers(c Check, r Result) bool {
	return slices.ContainsFunc(c.Covers, func(v Cover) bool {
		return v.Effect == EffectHolds && (v.Analyte == "" || v.Analyte == r.Analyte) && (v.Basis == "" || v.Basis == r.Basis) &&
			v.From <= r.Position && r.Position <= v.To
	})
}

// spoiled draws a bench with a few things wrong.
func spoiled(rt *rapid.T, t *testing.T) *bench {
	b := newBench(t)
	position := rapid.IntRange(1, 18)
	place := rapid.IntRange(0, 1) // of a row: methanol, ethyl acetate; the internal standard is last
	for range rapid.IntRange(0, 5).Draw(rt, "faults") {
		p := position.Draw(rt, "position")
		m := b.member(p)
		if m.State != MemberRecorded {
			continue
		}
		switch rapid.IntRange(0, 10).Draw(rt, "fault") {
		case 0:
			b.await(p)
		case 1:
			b.contest(p)
		case 2:
			b.acquire(p, rapid.IntRange(0, 20).Draw(rt, "minute"))
		case 3:
			m.Started.At = nil
		case 4:
			m.Reduction.Rows[place.Draw(rt, "row")].Values[0] = CellValue{Meaning: "area", Text: "<1", Mark: rapid.SampledFrom([]string{"below", "above", "empty", "not found"}).Draw(rt, "mark")}
		case 5:
			m.Reduction.Rows[2].Values[0].Value = ptr(rapid.SampledFrom([]float64{0, -1, 500, 1e-300}).Draw(rt, "internal"))
		case 6:
			m.Line.Dilution = rapid.Float64Range(0.5, 100).Draw(rt, "dilution")
		case 7:
			m.Line.Standards = []string{"unknown"}
		case 8:
			m.Reduction.Rows[place.Draw(rt, "row")].Name = "another"
		default:
			area := rapid.Float64Range(-50, 600).Draw(rt, "amount") * benchSlope * benchISArea
			m.Reduction.Rows[place.Draw(rt, "row")].Values[0] = CellValue{Meaning: "area", Text: "drawn", Value: &area}
		}
	}
	m := &b.in.Method
	m.Analytes[0].Calibration = method.Calibration{Model: rapid.SampledFrom(method.Models()[1:]).Draw(rt, "model")}
	if m.Analytes[0].Calibration.Model == method.ModelQuadratic || m.Analytes[0].Calibration.Model == method.ModelThroughOrigin {
		m.Analytes[0].Calibration.Weighting = rapid.SampledFrom(method.Weightings()).Draw(rt, "weighting")
	}
	if rapid.Bool().Draw(rt, "uncertain") {
		m.Uncertainty = componentsUncertainty()
		for i := range b.in.Standards[:rapid.IntRange(0, 5).Draw(rt, "known standards")] {
			for k := range b.in.Standards[i].Values {
				b.in.Standards[i].Values[k].Uncertainty, b.in.Standards[i].Values[k].K = ptr(0.1), ptr(2.0)
			}
		}
	}
	// Parents stay: a dangling one is no input.
	for _, p := range rapid.SliceOfN(rapid.SampledFrom([]int{1, 5, 6, 7, 10, 11, 12, 14, 15, 18}), 0, 2).Draw(rt, "struck") {
		b.strike(p)
	}
	if rapid.Bool().Draw(rt, "closed") {
		b.shut()
	}
	return b
}

func drawn(rt *rapid.T, t *testing.T) (*bench, *Evaluation) {
	b := spoiled(rt, t)
	ev, err := Evaluate(b.in)
	if err != nil {
		rt.Fatalf("evaluate: %v", err)
	}
	return b, ev
}

// Holds follow from the checks and their coverage alone, and only a value or a limit is
// ever clear.
func TestDispositionFollowsFromChecks(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		_, ev := drawn(rt, t)
		ids := map[string]bool{}
		for _, c := range ev.Checks {
			if ids[c.ID] {
				rt.Fatalf("check id %q twice", c.ID)
			}
			ids[c.ID] = true
			if c.Reason == "" {
				rt.Fatalf("%s gives no reason", c.ID)
			}
		}
		seen := map[string]bool{}
		for _, r := range ev.Results {
			if seen[r.ID] {
				rt.Fatalf("result id %q twice", r.ID)
			}
			seen[r.ID] = true
			holders := []string{}
			for _, c := range ev.Checks {
				if c.Verdict != Pass && c.Verdict != NotApplicable && covers(c, r) {
					holders = append(holders, c.ID)
				}
			}
			slices.Sort(holders)
			if !slices.Equal(holders, r.HeldBy) {
				rt.Fatalf("%s: held by %q, its checks say %q", r.ID, r.HeldBy, holders)
			}
			if (r.Disposition == Held) != (len(holders) > 0) {
				rt.Fatalf("%s is %s with holders %q", r.ID, r.Disposition, holders)
			}
			if r.Disposition == Clear && (r.Reported == "" || (r.Value == nil) == (r.Censored == CensorNone) || r.Censored == CensorAbove) {
				rt.Fatalf("%s is clear with value %v, censored %q, reported %q", r.ID, r.Value, r.Censored, r.Reported)
			}
		}
	})
}

// The order of an input's parts has no influence.
func TestOrderOfInputHasNoInfluence(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, ev := drawn(rt, t)
		want, err := Canonical(ev)
		if err != nil {
			rt.Fatalf("canonical form: %v", err)
		}
		seed := rapid.Uint64().Draw(rt, "seed")
		source := rand.New(rand.NewPCG(seed, 1))
		shuffle(source, b.in.Members)
		shuffle(source, b.in.Standards)
		shuffle(source, b.in.Samples)
		shuffle(source, b.in.Related)
		for i := range b.in.Members {
			shuffle(source, b.in.Members[i].Claimants)
		}
		before, err := Canonical(b.in)
		if err != nil {
			rt.Fatalf("canonical form: %v", err)
		}
		again, err := Evaluate(b.in)
		if err != nil {
			rt.Fatalf("evaluate: %v", err)
		}
		got, err := Canonical(again)
		if err != nil {
			rt.Fatalf("canonical form: %v", err)
		}
		if !bytes.Equal(got, want) {
			rt.Fatalf("another order gives another evaluation:\n%s\n%s", got, want)
		}
		if after, _ := Canonical(b.in); !bytes.Equal(before, after) {
			rt.Fatal("the evaluation changed its input")
		}
	})
}

func shuffle[T any](source *rand.Rand, list []T) {
	source.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
}

var writeGolden = flag.Bool("write-evaluation", false, "write the golden evaluation of a new engine version")

// goldenBench has one of most things: a failed check, a contaminated blank, a censored, an
// over-range and a diluted result, an awaited and an unregistered sample, a wanting strength.
func goldenBench(t *testing.T) *bench {
	b := newBench(t)
	for i := 1; i <= 5; i++ {
		b.amount(i, "methanol", []float64{10.3, 49.2, 101.1, 198.7, 401.9}[i-1])
	}
	b.amount(11, "methanol", 127)
	b.amount(12, "ethyl acetate", 6)
	b.amount(9, "ethyl acetate", 7)
	b.drop(9, "methanol")
	b.amount(16, "methanol", 480)
	b.member(17).Line.Dilution = 20
	b.add(worklist.Line{Position: 19, Role: worklist.RoleSample, Sample: "S-6", PrepBatch: "P1"}, 70)
	b.acquire(19, 17)
	b.add(worklist.Line{Position: 20, Role: worklist.RoleSample, Sample: "S-1", PrepBatch: "P2"}, 70)
	b.await(20)
	b.in.Unlisted = []Unlisted{{Acquisition: AcquisitionRef{Instrument: "GC-1", Key: "R1/77", Revision: "r1", File: "run.csv"}}}
	return b
}

// The same input gives the same bytes for one engine version. When this fails because the
// output was meant to change, raise Engine and write the golden file of the new version.
func TestEngineVersionStandsForItsOutput(t *testing.T) {
	got, err := Canonical(goldenBench(t).evaluate().Evaluation)
	if err != nil {
		t.Fatalf("canonical form: %v", err)
	}
	file := filepath.Join("testdata", "evaluation-engine-"+Engine+".json")
	want, err := os.ReadFile(file)
	if os.IsNotExist(err) && *writeGolden {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if err != nil {
		t.Fatalf("no golden evaluation of engine %s: %v (write it with -write-evaluation)", Engine, err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the output changed and Engine is still %s: raise it and write its golden file with -write-evaluation\ngot  %s\nwant %s", Engine, got, want)
	}
}
