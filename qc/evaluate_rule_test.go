package qc

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/worklist"
)

// Verdicts of the rules that judge one position, beyond the numbered cases.
func TestVerdicts(t *testing.T) {
	tests := map[string]struct {
		spoil   func(*bench)
		check   string
		verdict string
		held    []int
	}{
		"blank at the limit":         {func(b *bench) { b.amount(7, "methanol", 5) }, "method blank/methanol/7", Pass, nil},
		"blank not found, proven":    {func(b *bench) { b.drop(7, "methanol") }, "method blank/methanol/7", Pass, nil},
		"blank not found, no proof":  {func(b *bench) { b.drop(7, "methanol"); b.drop(7, "pentan-3-ol") }, "method blank/methanol/7", NotEvaluable, []int{8, 9, 16}},
		"blank not a number":         {func(b *bench) { b.mark(7, "methanol", "?", "not a number") }, "method blank/methanol/7", NotEvaluable, []int{8, 9, 16}},
		"blank below a low bound":    {func(b *bench) { b.mark(7, "methanol", "<8", "below") }, "method blank/methanol/7", Pass, nil},
		"blank below a high bound":   {func(b *bench) { b.mark(7, "methanol", "<12", "below") }, "method blank/methanol/7", NotEvaluable, []int{8, 9, 16}},
		"blank above a bound":        {func(b *bench) { b.mark(7, "methanol", ">99", "above") }, "method blank/methanol/7", Fail, []int{8, 9, 16}},
		"blank without LOQ":          {func(b *bench) { b.in.Method.Analytes[0].LOQ = nil }, "method blank/methanol/7", NotEvaluable, []int{8, 9, 13, 16, 17}},
		"blank missing":              {func(b *bench) { b.await(7); b.shut() }, "method blank/methanol/7", Missing, []int{8, 9, 16}},
		"no blank in the worklist":   {func(b *bench) { b.strike(7) }, "method blank/methanol/preparation batch P1", Missing, []int{8, 9, 16}},
		"blank of the run":           {func(b *bench) { b.rule(method.RuleMethodBlank).Scope = "run"; b.amount(7, "methanol", 9) }, "method blank/methanol/7", Fail, []int{8, 9, 13, 16, 17}},
		"duplicate missing":          {func(b *bench) { b.await(14); b.shut() }, "duplicate precision/methanol/14", Missing, []int{13, 17}},
		"missing, covers the parent": {func(b *bench) { b.rule(method.RuleDuplicate).Covers = "parent"; b.await(14); b.shut() }, "duplicate precision/methanol/14", Missing, []int{13, 17}},
		"no duplicate":               {func(b *bench) { b.strike(14) }, "duplicate precision/methanol/preparation batch P2", Missing, []int{13, 17}},
		"duplicate not a number":     {func(b *bench) { b.mark(14, "methanol", "?", "not a number") }, "duplicate precision/methanol/14", NotEvaluable, []int{13, 17}},
		"duplicate above the range":  {func(b *bench) { b.amount(14, "methanol", 500) }, "duplicate precision/methanol/14", NotEvaluable, []int{13, 17}},
		"duplicate not found":        {func(b *bench) { b.drop(14, "methanol") }, "duplicate precision/methanol/14", Fail, []int{13, 17}},
		"difference of percent": {func(b *bench) {
			b.rule(method.RuleDuplicate).Statistic = "relative percent difference"
			b.amount(14, "methanol", 180)
		}, "duplicate precision/methanol/14", Fail, []int{13, 17}},
		"duplicate, other dilution":  {func(b *bench) { b.amount(14, "methanol", 100); b.member(14).Line.Dilution = 2 }, "duplicate precision/methanol/14", Pass, nil},
		"parent's internal standard": {func(b *bench) { b.internal(13, 0.5) }, "duplicate precision/methanol/14", NotEvaluable, []int{13, 17}},
		"check at the low limit":     {func(b *bench) { b.amount(18, "methanol", 90) }, "check standard recovery/methanol/18", Pass, nil},
		"check below it":             {func(b *bench) { b.amount(18, "methanol", 89.999) }, "check standard recovery/methanol/18", Fail, []int{16, 17}},
		"check not found":            {func(b *bench) { b.drop(18, "methanol") }, "check standard recovery/methanol/18", Fail, []int{16, 17}},
		"check not a number":         {func(b *bench) { b.mark(18, "methanol", "?", "not a number") }, "check standard recovery/methanol/18", NotEvaluable, []int{16, 17}},
		"check with a limit":         {func(b *bench) { b.mark(18, "methanol", ">10", "above") }, "check standard recovery/methanol/18", NotEvaluable, []int{16, 17}},
		"check of unknown standard":  {func(b *bench) { b.member(18).Line.Standards = []string{"CCV-9"} }, "check standard recovery/methanol/18", NotEvaluable, []int{16, 17}},
		"check of nominal zero": {func(b *bench) {
			b.member(18).Line.Nominals = []worklist.Nominal{{Analyte: "methanol", Value: 0, Unit: "mg/L"}}
		}, "check standard recovery/methanol/18", NotEvaluable, []int{16, 17}},
		"check beyond the range": {func(b *bench) {
			b.member(18).Line.Nominals = []worklist.Nominal{{Analyte: "methanol", Value: 410, Unit: "mg/L"}}
			b.amount(18, "methanol", 410)
		}, "check standard recovery/methanol/18", NotEvaluable, []int{16, 17}},
		"diluted check": {func(b *bench) {
			b.member(18).Line.Dilution = 2
			b.amount(18, "methanol", 50)
			b.amount(18, "ethyl acetate", 50)
		}, "check standard recovery/methanol/18", Pass, nil},
		"check has no such analyte": {func(b *bench) { b.in.Standards[6].Values = b.in.Standards[6].Values[1:] }, "check standard recovery/methanol/closing of run R1", Missing, []int{8, 9, 13, 16, 17}},
		"no check before":           {func(b *bench) { b.strike(6) }, "check standard recovery/methanol/opening of run R1", Missing, []int{8, 9}},
		"check before the curve":    {func(b *bench) { b.acquire(6, 0) }, "check standard recovery/methanol/6", NotEvaluable, []int{8, 9, 13, 16, 17}},
		"internal standard absent":  {func(b *bench) { b.drop(9, "pentan-3-ol") }, "internal standard response/all/9", NotEvaluable, []int{9}},
		"at the internal limit":     {func(b *bench) { b.internal(9, 0.7) }, "internal standard response/all/9", Pass, nil},
		"internal reference open":   {func(b *bench) { b.await(1) }, "internal standard response/all/9", Pending, []int{8, 9, 13, 16, 17}},
		"sample not registered":     {func(b *bench) { b.in.Samples = slices.Delete(b.in.Samples, 1, 2) }, "sample registered/all/S-2", Pending, []int{9}},
		"not registered, closed":    {func(b *bench) { b.in.Samples = slices.Delete(b.in.Samples, 1, 2); b.shut() }, "sample registered/all/S-2", Missing, []int{9}},
		"two acquisitions":          {func(b *bench) { b.contest(9) }, "identity of acquisition/all/9", Fail, []int{9, 9}},
		"within the range":          {func(*bench) {}, "working range/methanol/9", Pass, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev := b.evaluate()
			c := ev.wantVerdict(tt.check, tt.verdict)
			ev.wantHeld("methanol", tt.held...)
			if c.Reason == "" || (c.Verdict == Pending) != (c.WaitingFor != "") && c.Rule != method.RuleIdentity {
				t.Errorf("%s: reason %q, waiting for %q", c.Verdict, c.Reason, c.WaitingFor)
			}
		})
	}
}

// A method without rules asks for no control samples; what is always in force still holds.
func TestMethodWithoutRules(t *testing.T) {
	b := newBench(t)
	b.in.Method.Rules = nil
	for _, p := range []int{6, 7, 10, 11, 12, 14, 15, 18} {
		b.strike(p)
	}
	ev := b.evaluate()
	ev.wantHeld("methanol")
	b.strike(5)
	b.strike(4)
	b.strike(3)
	b.evaluate().wantHeld("methanol", 8, 9, 13, 16, 17)
}

func TestRuleTwiceInMethod(t *testing.T) {
	b := newBench(t)
	strict := *b.rule(method.RuleCheckStandard)
	strict.Low, strict.High, strict.Analytes = ptr(99.0), ptr(101.0), []string{"methanol"}
	b.in.Method.Rules = append(b.in.Method.Rules, strict)
	ev := b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/18", Pass)
	ev.wantVerdict("check standard recovery/methanol/18~2", Fail)
	if !slices.Contains(ev.held("methanol"), 17) {
		t.Error("the stricter limits do not hold")
	}
	ev.wantHeld("ethyl acetate")
}

func TestFindings(t *testing.T) {
	b := newBench(t)
	b.acquire(9, 8)
	b.acquire(8, 9)
	b.member(13).Started = parsers.Started{Local: "2026-10-25T02:30:00", Status: parsers.StartAmbiguous}
	b.await(17)
	b.member(18).Line.Standards = nil
	b.member(18).Line.Nominals = []worklist.Nominal{{Analyte: "methanol", Value: 103, Unit: "mg/L"}, {Analyte: "ethyl acetate", Value: 103, Unit: "mg/L"}}
	b.in.Unlisted = []Unlisted{{Acquisition: AcquisitionRef{Instrument: "GC-1", Key: "R1/77", File: "run.csv"}}}
	ev := b.evaluate()
	want := []string{FindingNoStandard + " position 18", FindingNoStart + " position 13", FindingNotRecorded + " position 17", FindingRunOrder + " position 8", FindingUnlisted + " R1/77"}
	var got []string
	for _, f := range ev.Findings {
		got = append(got, f.Code+" "+f.Subject)
	}
	if !slices.Equal(got, want) {
		t.Errorf("findings %q, want %q", got, want)
	}
	// The ambiguous start keeps its place by position, between the checks at 11 and 15.
	b.amount(15, "methanol", 120)
	if held := b.evaluate().held("methanol"); !slices.Contains(held, 13) || slices.Contains(held, 8) {
		t.Errorf("held %v", held)
	}
}

// Brackets follow the time of acquisition, not the position.
func TestBracketsFollowTime(t *testing.T) {
	b := newBench(t)
	b.acquire(17, 14) // position 17 was in fact acquired between the checks at 11 and 15
	b.acquire(14, 17)
	b.amount(18, "methanol", 120)
	b.evaluate().wantHeld("methanol", 16)
}

func TestInputErrors(t *testing.T) {
	tests := map[string]struct {
		spoil func(*bench)
		where string
	}{
		"schema":                    {func(b *bench) { b.in.Schema = 9 }, "schema"},
		"batch without name":        {func(b *bench) { b.in.Batch.Name = "" }, "batch"},
		"position twice":            {func(b *bench) { b.member(9).Line.Position = 8 }, "position 8"},
		"position zero":             {func(b *bench) { b.member(9).Line.Position = 0 }, "position 0"},
		"unknown role":              {func(b *bench) { b.member(9).Line.Role = "tea" }, "position 9"},
		"unknown state":             {func(b *bench) { b.member(9).State = "lost" }, "position 9"},
		"no dilution":               {func(b *bench) { b.member(9).Line.Dilution = 0 }, "position 9"},
		"sample without id":         {func(b *bench) { b.member(9).Line.Sample = "" }, "position 9"},
		"recorded, no reduction":    {func(b *bench) { b.member(9).Reduction = nil }, "position 9"},
		"ambiguous, one claimant":   {func(b *bench) { b.contest(9); b.member(9).Claimants = b.member(9).Claimants[:1] }, "position 9"},
		"dangling parent":           {func(b *bench) { b.member(10).Line.Parent = 99 }, "position 10"},
		"no parent":                 {func(b *bench) { b.member(10).Line.Parent = 0 }, "position 10"},
		"own parent":                {func(b *bench) { b.member(10).Line.Parent = 10 }, "position 10"},
		"reduced otherwise":         {func(b *bench) { b.member(9).Reduction.Plan = "q" }, "position 9"},
		"reduced by another engine": {func(b *bench) { b.member(9).Reduction.Engine = "0" }, "position 9"},
		"acquisition bound twice":   {func(b *bench) { b.member(9).Acquisition.Key = "R1/08" }, "position 9"},
		"standard twice":            {func(b *bench) { b.in.Standards = append(b.in.Standards, b.in.Standards[0]) }, "standards"},
		"sample twice":              {func(b *bench) { b.in.Samples = append(b.in.Samples, b.in.Samples[0]) }, "samples"},
		"analyte twice":             {func(b *bench) { b.in.Method.Analytes[1].Name = "methanol" }, "method, analyte methanol"},
		"analyte without source":    {func(b *bench) { b.in.Method.Analytes[1].Source = method.Source{} }, "method, analyte ethyl acetate"},
		"unknown model":             {func(b *bench) { b.in.Method.Analytes[1].Calibration.Model = "spline" }, "method, analyte ethyl acetate"},
		"report unit":               {func(b *bench) { b.in.Method.Analytes[1].Report.Unit = "% vol" }, "method, analyte ethyl acetate"},
		"report digits":             {func(b *bench) { b.in.Method.Analytes[1].Report.Significant = nil }, "method, analyte ethyl acetate"},
		"per alcohol unit":          {func(b *bench) { b.in.Method.Analytes[0].Report.PerAlcohol.Unit = "mg/L" }, "method, analyte methanol"},
		"unknown rule":              {func(b *bench) { b.in.Method.Rules[0].Rule = "luck" }, "method, rule 1"},
		"rule for unknown analyte":  {func(b *bench) { b.in.Method.Rules[0].Analytes = []string{"tea"} }, "method, rule 1"},
		"blank without limit":       {func(b *bench) { b.in.Method.Rules[1].LOQFraction = nil }, "method, rule 2"},
		"duplicate without limit":   {func(b *bench) { b.in.Method.Rules[2].High = nil }, "method, rule 3"},
		"statistic not named":       {func(b *bench) { b.in.Method.Rules[2].Statistic = "" }, "method, rule 3"},
		"recovery without limit":    {func(b *bench) { b.in.Method.Rules[3].Low = nil }, "method, rule 4"},
		"unknown brackets":          {func(b *bench) { b.in.Method.Rules[3].Brackets = "none" }, "method, rule 4"},
		"response without limit":    {func(b *bench) { b.in.Method.Rules[5].Low, b.in.Method.Rules[5].High = nil, nil }, "method, rule 6"},
		"notice on another basis":   {func(b *bench) { b.in.Method.Notices[0].Analyte = "ethyl acetate" }, "method, notice 1"},
		"notice in another unit":    {func(b *bench) { b.in.Method.Notices[0].Unit = "mg/L" }, "method, notice 1"},
		"a number JSON cannot hold": {func(b *bench) { b.row(9, "methanol").Values[0].Value = ptr(math.NaN()) }, "as a whole"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev, err := Evaluate(b.in)
			var bad *InputError
			if !errors.As(err, &bad) || ev != nil {
				t.Fatalf("error %v, evaluation %v; want an *InputError", err, ev)
			}
			if bad.Where != tt.where || !strings.Contains(err.Error(), tt.where) {
				t.Errorf("error %q names %q, want %q", err, bad.Where, tt.where)
			}
		})
	}
}

// Without calibration an initial check standard verifies its run, and the absence of a
// calibration leaves an internal standard nothing to be compared with.
func TestRulesWithoutCalibration(t *testing.T) {
	b := newBench(t)
	for i := range b.in.Method.Analytes {
		b.in.Method.Analytes[i].Calibration = method.Calibration{Model: method.ModelNone, Factor: ptr(1 / benchSlope), RangeHigh: ptr(400.0)}
	}
	b.evaluate().wantHeld("methanol")
	b.amount(6, "methanol", 200)
	ev := b.evaluate()
	ev.wantVerdict("check standard recovery/methanol/6", Fail)
	ev.wantHeld("methanol", 8, 9, 13, 16, 17)

	for p := 1; p <= 5; p++ {
		b.strike(p)
	}
	b.evaluate().wantVerdict("internal standard response/all/9", Missing)
	b.in.Method.InternalStandard = nil
	b.evaluate().wantVerdict("internal standard response/all/9", NotEvaluable)
}

// A calibration blank informs: neither its amount nor its absence holds anything.
func TestCalibrationBlankInforms(t *testing.T) {
	b := newBench(t)
	b.add(worklist.Line{Position: 19, Role: worklist.RoleCalBlank}, 300)
	b.acquire(19, 0)
	b.drop(19, "pentan-3-ol")
	b.evaluate().wantHeld("methanol")
	b.await(19)
	b.evaluate().wantHeld("methanol")
}

func TestCheckIDs(t *testing.T) {
	b := newBench(t)
	b.in.Samples[1].ID, b.in.Related[1].Sample, b.member(9).Line.Sample = "S/2 50%", "S/2 50%", "S/2 50%"
	b.member(9).Acquisition.Key = "R1|09"
	ev := b.evaluate()
	ev.wantVerdict("sample registered/all/S%2F2 50%25", Pass)
	if id := ev.result(9, "methanol", BasisAsIs).ID; id != "GC-2026-007|GC-1|R1%7C09|methanol|as is" {
		t.Errorf("result id %q", id)
	}
}
