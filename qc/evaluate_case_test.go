package qc

import (
	"slices"
	"strings"
	"testing"

	"underbond/qc/method"
	"underbond/qc/worklist"
)

func TestBatchInOrderIsClear(t *testing.T) {
	ev := newBench(t).evaluate()
	ev.wantHeld("methanol")
	ev.wantHeld("ethyl acetate")
	for _, r := range ev.Results {
		if r.Disposition != Clear || len(r.HeldBy) > 0 || len(r.WaitingFor) > 0 {
			t.Errorf("%s is %s by %v, waiting for %v", r.ID, r.Disposition, r.HeldBy, r.WaitingFor)
		}
	}
	for _, c := range ev.Checks {
		if c.Verdict != Pass {
			t.Errorf("%s: %s: %s", c.ID, c.Verdict, c.Reason)
		}
	}
	if len(ev.Findings) > 0 {
		t.Errorf("findings %v", ev.Findings)
	}
	if len(ev.Results) != 15 || len(ev.Calibrations) != 2 {
		t.Errorf("%d results, %d calibrations; want 15 and 2", len(ev.Results), len(ev.Calibrations))
	}
	if ev.Method != "congeners 3" || ev.MethodSHA256 != "aa" || ev.Engine != Engine || ev.Schema != EvaluationSchema {
		t.Errorf("head %q %q %q %d", ev.Method, ev.MethodSHA256, ev.Engine, ev.Schema)
	}
}

// Case 1 without a repeat policy: the immediate repeat passes and does not undo the failure.
func TestCase01FailedCheckWithPassingRepeat(t *testing.T) {
	b := newBench(t)
	b.add(worklist.Line{Position: 19, Role: worklist.RoleCheck, Standards: []string{"CCV"}}, 100)
	// The repeat directly follows the failing check at position 11.
	for p := 12; p <= 18; p++ {
		b.acquire(p, p+1)
	}
	b.acquire(19, 12)
	b.amount(11, "methanol", 127)
	ev := b.evaluate()
	c := ev.wantVerdict("check standard recovery/methanol/11", Fail)
	if want := "check standard CCV at position 11 recovered 127 % of methanol (limit 90–110 %)"; c.Reason != want {
		t.Errorf("reason %q, want %q", c.Reason, want)
	}
	ev.wantVerdict("check standard recovery/methanol/19", Pass)
	// Before the failing check: held. After the repeat: a bracket between passing checks.
	ev.wantHeld("methanol", 8, 9)
	ev.wantHeld("ethyl acetate")
}

// Case 2: the initial verification fails; the calibration is not verified and holds all.
func TestCase02InitialVerificationFails(t *testing.T) {
	b := newBench(t)
	b.amount(6, "methanol", 180)
	b.drop(9, "methanol")
	ev := b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/6", Fail)
	ev.wantHeld("methanol", 8, 9, 13, 16, 17)
	ev.wantHeld("ethyl acetate")
}

// Case 4: a low check holds what is not found as well.
func TestCase04LowCheckHoldsNonDetects(t *testing.T) {
	b := newBench(t)
	b.amount(18, "methanol", 60)
	b.drop(16, "methanol")
	ev := b.evaluate()
	ev.wantHeld("methanol", 16, 17)
	if r := ev.result(16, "methanol", BasisAsIs); r.Censored != CensorBelowLOD {
		t.Errorf("position 16 is %q, want %q", r.Censored, CensorBelowLOD)
	}
}

// Case 5: both neighbouring brackets of a failed check are held, the next one clears.
func TestCase05MidRunCheckFails(t *testing.T) {
	b := newBench(t)
	b.amount(11, "methanol", 111)
	ev := b.evaluate()
	ev.wantHeld("methanol", 8, 9, 13)
	c := ev.check("check standard recovery/methanol/11")
	want := []Cover{{Analyte: "methanol", From: 8, To: 10, Effect: EffectHolds}, {Analyte: "methanol", From: 13, To: 14, Effect: EffectHolds}}
	if !slices.Equal(c.Covers, want) {
		t.Errorf("covers %v, want %v", c.Covers, want)
	}
}

func TestOpeningOnlyHoldsWhatFollows(t *testing.T) {
	b := newBench(t)
	b.rule(method.RuleCheckStandard).Brackets = "opening only"
	b.amount(11, "methanol", 111)
	ev := b.evaluate()
	ev.wantHeld("methanol", 13)
	b.strike(18)
	b.evaluate().wantHeld("methanol", 13)
}

// Case 6: the run aborts before the closing check.
func TestCase06ClosingCheckAbsent(t *testing.T) {
	b := newBench(t)
	b.await(18)
	ev := b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/18", Pending)
	ev.wantHeld("methanol", 16, 17)
	if got := ev.result(17, "methanol", BasisAsIs).WaitingFor; !slices.Equal(got, []string{"check standard CCV at position 18"}) {
		t.Errorf("waits for %q", got)
	}
	b.shut()
	ev = b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/18", Missing)
	ev.wantHeld("methanol", 16, 17)
	if got := ev.result(17, "methanol", BasisAsIs).WaitingFor; len(got) > 0 {
		t.Errorf("still waits for %q", got)
	}
	// A worklist without closing check can never have one: no waiting.
	b = newBench(t)
	b.strike(18)
	ev = b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/closing of run R1", Missing)
	ev.wantHeld("methanol", 16, 17)
	// Batch-level control that aborted with the run holds the earlier brackets too.
	b = newBench(t)
	b.await(12)
	b.await(18)
	b.shut()
	b.evaluate().wantHeld("methanol", 13, 16, 17)
}

// Case 7: a blank fails for one analyte; the other is free.
func TestCase07BlankFailsForOneAnalyte(t *testing.T) {
	for name, amount := range map[string]float64{"contaminated": 5.1, "strongly negative": -5.1} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.amount(7, "methanol", amount)
			ev := b.evaluate()
			ev.wantVerdict("method blank/methanol/7", Fail)
			ev.wantHeld("methanol", 8, 9, 16)
			ev.wantHeld("ethyl acetate")
		})
	}
}

// Cases 8 and 9 without the opt-in: neither a non-detect nor a large amount is exempt.
func TestCase09NoExemptionByDefault(t *testing.T) {
	b := newBench(t)
	b.amount(7, "methanol", 6)
	b.drop(9, "methanol")
	b.amount(16, "methanol", 390)
	b.evaluate().wantHeld("methanol", 8, 9, 16)
}

// Case 10: near the LOQ the absolute difference decides.
func TestCase10DuplicatesNearLOQ(t *testing.T) {
	tests := map[string]struct {
		parent, duplicate float64
		verdict           string
		statistic         string
	}{
		"RSD fails, difference within the LOQ":     {20, 29.9, Pass, "absolute difference"},
		"difference at the LOQ":                    {20, 30, Pass, "absolute difference"},
		"difference above the LOQ":                 {20, 30.1, Fail, "absolute difference"},
		"difference decides although RSD passes":   {38, 49, Fail, "absolute difference"},
		"one at five times the LOQ":                {49, 50, Pass, "RSD"},
		"one below the LOQ":                        {9, 18, Pass, "absolute difference"},
		"one below the LOQ, difference too large":  {9, 19.1, Fail, "absolute difference"},
		"both below the LOQ":                       {9, 5, NotApplicable, ""},
		"well above the LOQ, RSD at the limit":     {100, 100 * (1 + 0.1*sqrt2/2) / (1 - 0.1*sqrt2/2), Pass, "RSD"},
		"well above the LOQ, RSD beyond the limit": {100, 1.0001 * 100 * (1 + 0.1*sqrt2/2) / (1 - 0.1*sqrt2/2), Fail, "RSD"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.amount(8, "methanol", tt.parent)
			b.amount(10, "methanol", tt.duplicate)
			c := b.evaluate().wantVerdict("duplicate precision/methanol/10", tt.verdict)
			if c.Statistic != tt.statistic {
				t.Errorf("statistic %q, want %q", c.Statistic, tt.statistic)
			}
		})
	}
}

const sqrt2 = 1.41421356237309504880168872420969807856967187537694

// Both below the LOQ say nothing of the precision of what is above it: that stays held
// until a pair shows it. What is below the LOQ as well is free.
func TestCase10PrecisionStillRequiredElsewhere(t *testing.T) {
	b := newBench(t)
	b.amount(8, "methanol", 5)
	b.amount(10, "methanol", 6)
	ev := b.evaluate()
	ev.wantVerdict("duplicate precision/methanol/preparation batch P1", Missing)
	ev.wantHeld("methanol", 9, 16)
	b.amount(9, "methanol", 4)
	b.amount(16, "methanol", 8)
	b.evaluate().wantHeld("methanol")
}

// Case 11: a failure well above the LOQ.
func TestCase11DuplicateFails(t *testing.T) {
	b := newBench(t)
	b.amount(10, "methanol", 160)
	ev := b.evaluate()
	ev.wantVerdict("duplicate precision/methanol/10", Fail)
	ev.wantHeld("methanol", 8, 9, 16)
	b.rule(method.RuleDuplicate).Covers = "parent"
	b.evaluate().wantHeld("methanol", 8)
}

// Case 15: the internal standard.
func TestCase15InternalStandard(t *testing.T) {
	t.Run("low in a sample", func(t *testing.T) {
		b := newBench(t)
		b.internal(9, 0.69)
		ev := b.evaluate()
		ev.wantVerdict("internal standard response/all/9", Fail)
		ev.wantHeld("methanol", 9)
		ev.wantHeld("ethyl acetate", 9)
	})
	t.Run("high in a sample", func(t *testing.T) {
		b := newBench(t)
		b.internal(9, 1.31)
		b.evaluate().wantHeld("methanol", 9)
	})
	t.Run("low in a check standard", func(t *testing.T) {
		b := newBench(t)
		b.internal(11, 0.5)
		ev := b.evaluate()
		ev.wantVerdict("check standard recovery/methanol/11", Fail)
		ev.wantHeld("methanol", 8, 9, 13)
	})
	t.Run("low in a blank", func(t *testing.T) {
		b := newBench(t)
		b.internal(12, 0.5)
		b.evaluate().wantHeld("methanol", 13, 17)
	})
	t.Run("low in a duplicate", func(t *testing.T) {
		b := newBench(t)
		b.internal(14, 0.5)
		b.evaluate().wantHeld("methanol", 13, 17)
	})
	t.Run("low in a calibration standard", func(t *testing.T) {
		b := newBench(t)
		b.internal(3, 0.5)
		ev := b.evaluate()
		ev.wantVerdict("calibration acceptance/methanol/run R1", Fail)
		ev.wantHeld("methanol", 8, 9, 13, 16, 17)
	})
}

// Case 16: arriving late is fine, acquired late is not.
func TestCase16LateCalibrationStandard(t *testing.T) {
	b := newBench(t)
	b.await(3)
	ev := b.evaluate()
	c := ev.wantVerdict("calibration acceptance/methanol/run R1", Pending)
	if c.WaitingFor != "calibration standard CAL-3 at position 3" {
		t.Errorf("waits for %q", c.WaitingFor)
	}
	ev.wantHeld("methanol", 8, 9, 13, 16, 17)
	if r := ev.result(8, "methanol", BasisAsIs); r.Value != nil || r.Reported != "" {
		t.Errorf("a partial curve gave %v %q", r.Value, r.Reported)
	}
	b.shut()
	b.evaluate().wantVerdict("calibration acceptance/methanol/run R1", Missing)

	// It arrives, acquired in its place: as if it had never been late.
	newBench(t).evaluate().wantHeld("methanol")

	b = newBench(t)
	b.acquire(3, 60)
	ev = b.evaluate()
	c = ev.wantVerdict("calibration acceptance/methanol/run R1", Fail)
	if !strings.Contains(c.Reason, "CAL-3 at position 3 was acquired after the sample S-1 at position 8") {
		t.Errorf("reason %q", c.Reason)
	}
	ev.wantHeld("methanol", 8, 9, 13, 16, 17)
}

// Case 17 as far as runs of one batch go: each run has its own curve, and a run without
// calibration standards uses the latest accepted one before it.
func TestCase17CalibrationsOfRuns(t *testing.T) {
	second := func(t *testing.T) *bench {
		b := newBench(t)
		for p := 19; p <= 21; p++ {
			line := worklist.Line{Position: p, Role: worklist.RoleCheck, Standards: []string{"CCV"}}
			if p == 20 {
				line = worklist.Line{Position: p, Role: worklist.RoleSample, Sample: "S-1", PrepBatch: "P1"}
			}
			b.add(line, 100)
			b.member(p).Line.Run = "R2"
		}
		return b
	}
	b := second(t)
	ev := b.evaluate()
	ev.wantHeld("methanol")
	if n := len(ev.Calibrations); n != 2 {
		t.Errorf("%d calibrations, want one for each analyte", n)
	}
	// The first run's curve fails: the second run has no accepted one either.
	b.amount(3, "methanol", 130)
	b.evaluate().wantHeld("methanol", 8, 9, 13, 16, 17, 20)

	// The second run is acquired before the calibration of the first.
	b = second(t)
	for p := 19; p <= 21; p++ {
		b.acquire(p, p-40)
	}
	ev = b.evaluate()
	ev.wantVerdict("calibration acceptance/methanol/run R2", Missing)
	ev.wantHeld("methanol", 20)

	// Its own curve, failed, is not replaced by the better one of the first run.
	b = second(t)
	for i, amount := range []float64{10, 50, 100, 200, 400} {
		p := 22 + i
		b.add(worklist.Line{Position: p, Role: worklist.RoleStandard, Standards: []string{"CAL-" + string(rune('1'+i))}}, amount)
		b.member(p).Line.Run = "R2"
	}
	for p := 19; p <= 21; p++ {
		b.acquire(p, p+20)
	}
	b.evaluate().wantHeld("methanol")
	b.amount(24, "methanol", 130)
	b.evaluate().wantHeld("methanol", 20)
}

// Case 21: both edges hold, and each must clear by itself.
func TestCase21BlankAndCheckHoldTheSameSample(t *testing.T) {
	b := newBench(t)
	b.amount(7, "methanol", 9)
	b.amount(18, "methanol", 120)
	ev := b.evaluate()
	want := []string{"check standard recovery/methanol/18", "method blank/methanol/7"}
	if got := ev.result(16, "methanol", BasisAsIs).HeldBy; !slices.Equal(got, want) {
		t.Errorf("held by %q, want %q", got, want)
	}
	b.amount(7, "methanol", 0)
	if got := b.evaluate().result(16, "methanol", BasisAsIs); got.Disposition != Held || !slices.Equal(got.HeldBy, want[:1]) {
		t.Errorf("%s by %q, want held by %q", got.Disposition, got.HeldBy, want[:1])
	}
	b.amount(18, "methanol", 100)
	b.evaluate().wantHeld("methanol")
}

// Case 22: a duplicate beyond the required one.
func TestCase22SpareDuplicateRemoved(t *testing.T) {
	b := newBench(t)
	b.add(worklist.Line{Position: 19, Role: worklist.RoleDuplicate, Sample: "S-2", PrepBatch: "P1", Parent: 9}, 81)
	b.acquire(19, 10)
	b.acquire(10, 10)
	b.evaluate().wantHeld("methanol")
	b.await(19)
	// It can still come and fail.
	b.evaluate().wantHeld("methanol", 8, 9, 16)
	b.shut()
	ev := b.evaluate()
	c := ev.wantVerdict("duplicate precision/methanol/19", Missing)
	if len(c.Covers) == 0 || c.Covers[0].Effect != EffectInforms {
		t.Errorf("covers %v, want to inform", c.Covers)
	}
	ev.wantHeld("methanol")
	b.strike(19)
	b.evaluate().wantHeld("methanol")
}

// Case 23: what can still change a value or its coverage holds, and is named.
func TestCase23OpenPositionsHoldAndAreNamed(t *testing.T) {
	tests := map[string]struct {
		position int
		held     []int
		waiting  string
	}{
		"calibration standard":   {2, []int{8, 9, 13, 16, 17}, "calibration standard CAL-2 at position 2"},
		"initial check standard": {6, []int{8, 9, 13, 16, 17}, "initial check standard ICV at position 6"},
		"method blank":           {7, []int{8, 9, 16}, "method blank v7 at position 7"},
		"duplicate":              {14, []int{13, 17}, "duplicate S-3 at position 14"},
		"parent of a duplicate":  {13, []int{17}, "sample S-3 at position 13"},
		"check standard":         {15, []int{13, 16, 17}, "check standard CCV at position 15"},
		"another sample":         {9, nil, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			for how, spoil := range map[string]func(*bench){
				"awaited":   func(b *bench) { b.await(tt.position) },
				"ambiguous": func(b *bench) { b.contest(tt.position) },
			} {
				b := newBench(t)
				spoil(b)
				ev := b.evaluate()
				held := slices.DeleteFunc(slices.Clone(ev.held("methanol")), func(p int) bool { return p == tt.position })
				if !slices.Equal(slices.Compact(held), tt.held) {
					t.Errorf("%s: held %v, want %v", how, held, tt.held)
				}
				for _, p := range tt.held {
					r := ev.result(p, "methanol", BasisAsIs)
					if !slices.ContainsFunc(r.WaitingFor, func(w string) bool { return strings.Contains(w, tt.waiting) }) {
						t.Errorf("%s: position %d waits for %q, want %q", how, p, r.WaitingFor, tt.waiting)
					}
				}
			}
		})
	}
}
