package qc

import (
	"slices"
	"strings"
	"testing"

	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// A rule for the second analyte says nothing of the first.
func TestRulesForOneAnalyte(t *testing.T) {
	tests := map[string]struct {
		rule  string
		spoil func(*bench)
		held  []int
	}{
		"method blank":               {method.RuleMethodBlank, func(b *bench) { b.strike(7) }, []int{8, 9, 16}},
		"duplicate precision":        {method.RuleDuplicate, func(b *bench) { b.strike(14) }, []int{13, 17}},
		"check standard recovery":    {method.RuleCheckStandard, func(b *bench) { b.strike(18) }, []int{16, 17}},
		"internal standard response": {method.RuleInternalStandard, func(b *bench) { b.internal(9, 0.5) }, []int{9}},
		"calibration acceptance":     {method.RuleCalibration, func(b *bench) { b.strike(3) }, []int{8, 9, 13, 16, 17}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.rule(tt.rule).Analytes = []string{"ethyl acetate"}
			tt.spoil(b)
			ev := b.evaluate()
			ev.wantHeld("methanol")
			ev.wantHeld("ethyl acetate", tt.held...)
		})
	}
}

func TestWorkingRangeCitesItsRule(t *testing.T) {
	b := newBench(t)
	b.rule(method.RuleRange).Source, b.rule(method.RuleRange).Analytes = "clause 7", []string{"methanol"}
	b.amount(9, "methanol", 500)
	b.amount(9, "ethyl acetate", 500)
	ev := b.evaluate()
	if got := ev.wantVerdict("working range/methanol/9", Fail).Source; got != "clause 7" {
		t.Errorf("source %q", got)
	}
	if got := ev.wantVerdict("working range/ethyl acetate/9", Fail).Source; got != "" {
		t.Errorf("source %q of a rule that is not for it", got)
	}
}

// The strictest of two acceptance rules holds and is shown.
func TestTwoAcceptanceRules(t *testing.T) {
	for name, limits := range map[string][]float64{"stricter last": {0.9, 0.9999999}, "stricter first": {0.9999999, 0.9}} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.rule(method.RuleCalibration).MinR2 = &limits[0]
			b.in.Method.Rules = append(b.in.Method.Rules, method.Rule{Rule: method.RuleCalibration, Source: "another", MinR2: &limits[1]})
			b.amount(3, "methanol", 103)
			c := b.evaluate().wantVerdict("calibration acceptance/methanol/run R1", Fail)
			if !near(c.LimitLow, 0.9999999) || c.Source != "invented; another" {
				t.Errorf("limit %v, source %q", *c.LimitLow, c.Source)
			}
		})
	}
}

// The wider limit is for the lowest level alone.
func TestBackCalculatedLimitsByLevel(t *testing.T) {
	b := newBench(t)
	b.rule(method.RuleCalibration).MinR2 = nil
	b.amount(3, "methanol", 118)
	ev := b.evaluate()
	c := ev.wantVerdict("calibration acceptance/methanol/run R1", Fail)
	for _, p := range ev.Calibrations[1].Points {
		if p.Position == 3 && (*p.Deviation < 10 || *p.Deviation > 20) {
			t.Fatalf("the test needs a deviation between the two limits, and it is %v", *p.Deviation)
		}
	}
	if !strings.Contains(c.Reason, "position 3 deviates") {
		t.Errorf("reason %q", c.Reason)
	}
}

func TestCalibrantsInDifferentUnits(t *testing.T) {
	b := newBench(t)
	b.in.Method.InternalStandard = nil
	b.without(method.RuleInternalStandard)
	b.row(4, "methanol").Values[0].Unit = "mV"
	c := b.evaluate().wantVerdict("calibration acceptance/methanol/run R1", NotEvaluable)
	if !strings.Contains(c.Reason, "CAL-4 at position 4") {
		t.Errorf("reason %q", c.Reason)
	}
}

// A duplicate is a test portion too: a calibrant acquired after it is late.
func TestCalibrantAfterDuplicateIsLate(t *testing.T) {
	b := newBench(t)
	b.acquire(10, 4)
	b.evaluate().wantVerdict("calibration acceptance/methanol/run R1", Fail)
}

// Of several earlier runs the latest accepted curve serves, and one that may still be
// accepted is waited for.
func TestLatestAcceptedCurveOfEarlierRuns(t *testing.T) {
	three := func(t *testing.T) *bench {
		b := newBench(t)
		for i, amount := range []float64{10, 50, 100, 200, 400} {
			b.add(worklist.Line{Position: 19 + i, Role: worklist.RoleStandard, Standards: []string{"CAL-" + string(rune('1'+i))}}, amount)
			b.member(19 + i).Line.Run = "R2"
			// The second run's detector answers twice as strongly.
			for row := range 2 {
				cell := &b.member(19 + i).Reduction.Rows[row].Values[0]
				cell.Value = ptr(2 * *cell.Value)
			}
		}
		b.add(worklist.Line{Position: 24, Role: worklist.RoleSample, Sample: "S-1", PrepBatch: "P1"}, 100)
		b.member(24).Line.Run = "R3"
		b.without(method.RuleCheckStandard)
		return b
	}
	b := three(t)
	if got := b.evaluate().result(24, "methanol", BasisAsIs); !near(got.Value, 50) {
		t.Errorf("%v by the latest curve, want 50", got.Value)
	}
	b.amount(21, "methanol", 600)
	if got := b.evaluate().result(24, "methanol", BasisAsIs); !near(got.Value, 100) || got.Disposition != Clear {
		t.Errorf("%v, %s by the latest accepted curve, want 100, clear", got.Value, got.Disposition)
	}
	b = three(t)
	b.await(21)
	if got := b.evaluate().result(24, "methanol", BasisAsIs); got.Value != nil || !slices.Equal(got.WaitingFor, []string{"calibration standard CAL-3 at position 21"}) {
		t.Errorf("%v, waiting for %q", got.Value, got.WaitingFor)
	}
}

func TestOpeningOnlyAsksForNoClosingCheck(t *testing.T) {
	b := newBench(t)
	b.rule(method.RuleCheckStandard).Brackets = "opening only"
	for _, p := range []int{6, 11, 15, 18} {
		b.strike(p)
	}
	ev := b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/opening of run R1", Missing)
	if slices.ContainsFunc(ev.Checks, func(c Check) bool { return strings.Contains(c.ID, "closing") }) {
		t.Error("a closing check is asked for")
	}
	b.rule(method.RuleCheckStandard).Brackets = ""
	ev = b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/opening of run R1", Missing)
	ev.wantVerdict("check standard recovery/methanol/closing of run R1", Missing)
}

func TestEachNoticeIsJudgedByItself(t *testing.T) {
	b := newBench(t)
	n := b.in.Method.Notices[0]
	other, asIs, general := n, n, n
	other.Categories = []string{"perry spirit"}
	asIs.Basis, asIs.Unit, asIs.High = BasisAsIs, "g/L", 0.05
	general.Categories, general.High = nil, 15
	b.in.Method.Notices = []method.Notice{other, asIs, n, general}
	ev := b.evaluate()
	outcomes := func(basis string) (out []string) {
		for _, g := range ev.result(9, "methanol", basis).Notices {
			out = append(out, g.Outcome)
		}
		return out
	}
	if got := outcomes(BasisAsIs); !slices.Equal(got, []string{OutcomeAbove}) {
		t.Errorf("as is: %q", got)
	}
	if got := outcomes(BasisPerAlcohol); !slices.Equal(got, []string{OutcomeBelow, OutcomeAbove}) {
		t.Errorf("per alcohol: %q", got)
	}
}

// All faults of a line's standards are named, not the first alone.
func TestEveryStandardOfALineIsJudged(t *testing.T) {
	b := newBench(t)
	b.in.Standards = append(b.in.Standards, standard.Standard{ID: "IS-1", Lot: "L7", Expires: "2026-01-31"})
	b.member(2).Line.Standards = []string{"STOCK-X", "CAL-2", "IS-1"}
	ev := b.evaluate()
	c := ev.wantVerdict("standard validity/all/2", Fail)
	for _, want := range []string{"STOCK-X", "IS-1 of the calibration standard", "expired on 2026-01-31"} {
		if !strings.Contains(c.Reason, want) {
			t.Errorf("reason %q does not name %q", c.Reason, want)
		}
	}
	// The value of the listed one counts all the same.
	ev.wantVerdict("calibration acceptance/methanol/run R1", Pass)
}

func TestMethodDigestIsThatOfItsVersion(t *testing.T) {
	b := newBench(t)
	b.in.Documents = append(b.in.Documents,
		DocumentRef{Kind: "method", Name: "congeners", Version: "4", SHA256: "bb"},
		DocumentRef{Kind: "worklist", Name: "congeners", Version: "3", SHA256: "cc"},
		DocumentRef{Kind: "method", Name: "strength", Version: "3", SHA256: "dd"})
	if got := b.evaluate().MethodSHA256; got != "aa" {
		t.Errorf("method digest %q, want aa", got)
	}
}
