package qc

import (
	"math"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

func near(got *float64, want float64) bool {
	return got != nil && math.Abs(*got-want) <= 1e-9*math.Abs(want)
}

// What is reported of methanol at position 9 (LOD 3, LOQ 10, calibrants 10 to 400 mg/L,
// strength 40 % vol).
func TestReportedResult(t *testing.T) {
	tests := map[string]struct {
		spoil       func(*bench)
		value       float64 // 0: none
		reported    string
		censored    string
		perAlcohol  string
		disposition string
		heldBy      string
	}{
		"within the range":    {func(b *bench) { b.amount(9, "methanol", 80) }, 80, "80.0", "", "20.0", Clear, ""},
		"diluted":             {func(b *bench) { b.amount(9, "methanol", 80); b.member(9).Line.Dilution = 5 }, 400, "400.0", "", "100", Clear, ""},
		"at the LOQ":          {func(b *bench) { b.amount(9, "methanol", 10) }, 10, "10.0", "", "2.50", Clear, ""},
		"at the top":          {func(b *bench) { b.amount(9, "methanol", 400) }, 400, "400.0", "", "100", Clear, ""},
		"between LOD and LOQ": {func(b *bench) { b.amount(9, "methanol", 9.9) }, 0, "< 10.0", CensorBelowLOQ, "< 2.50", Clear, ""},
		"below the LOQ, diluted": {func(b *bench) { b.amount(9, "methanol", 9.9); b.member(9).Line.Dilution = 5 }, 0, "< 50.0", CensorBelowLOQ, "< 12.5",
			Clear, ""},
		"below the LOD":    {func(b *bench) { b.amount(9, "methanol", 2) }, 0, "< 3.0", CensorBelowLOD, "< 0.750", Clear, ""},
		"a little below 0": {func(b *bench) { b.amount(9, "methanol", -2) }, 0, "< 3.0", CensorBelowLOD, "< 0.750", Clear, ""},
		"far below 0":      {func(b *bench) { b.amount(9, "methanol", -11) }, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"above the range": {func(b *bench) { b.amount(9, "methanol", 400.1) }, 0, "> 400.0", CensorAbove, "> 100", Held,
			"working range/methanol/9"},
		"above the range, rule not listed": {func(b *bench) { b.without(method.RuleRange); b.amount(9, "methanol", 401) }, 0, "> 400.0", CensorAbove,
			"> 100", Held, "working range/methanol/9"},
		"above the range, diluted": {func(b *bench) { b.amount(9, "methanol", 401); b.member(9).Line.Dilution = 10 }, 0, "> 4000.0", CensorAbove, "> 1000",
			Held, "working range/methanol/9"},
		"range of the method": {func(b *bench) { b.in.Method.Analytes[0].Calibration.RangeHigh = ptr(70.0) }, 0, "> 70.0", CensorAbove, "> 17.5",
			Held, "working range/methanol/9"},
		"LOQ not below the lowest level": {func(b *bench) { b.in.Method.Analytes[0].LOQ = ptr(5.0); b.amount(9, "methanol", 7) }, 0, "< 10.0",
			CensorBelowLOQ, "< 2.50", Clear, ""},
		"not found, proven":     {func(b *bench) { b.drop(9, "methanol") }, 0, "< 3.0", CensorBelowLOD, "< 0.750", Clear, ""},
		"marked not found":      {func(b *bench) { b.mark(9, "methanol", "n.d.", "not found") }, 0, "< 3.0", CensorBelowLOD, "< 0.750", Clear, ""},
		"not found, not proven": {func(b *bench) { b.drop(9, "methanol"); b.drop(9, "pentan-3-ol") }, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"not found without LOD": {func(b *bench) { b.in.Method.Analytes[0].LOD = nil; b.drop(9, "methanol") }, 0, "< 10.0", CensorBelowLOQ, "< 2.50", Clear, ""},
		"marked below": {func(b *bench) { b.mark(9, "methanol", "<8", "below") }, 0, "< 10.0", CensorBelowLOQ, "< 2.50", Clear,
			""}, // 8 area units are 4 mg/L
		"marked below what is above the LOQ": {func(b *bench) { b.mark(9, "methanol", "<100", "below") }, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"marked above":                       {func(b *bench) { b.mark(9, "methanol", ">9000", "above") }, 0, "> 400.0", CensorAbove, "> 100", Held, "working range/methanol/9"},
		"empty cell":                         {func(b *bench) { b.mark(9, "methanol", "", "empty") }, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"not a number":                       {func(b *bench) { b.mark(9, "methanol", "NaN", "not a number") }, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"two rows": {func(b *bench) {
			red := b.member(9).Reduction
			red.Rows = append(red.Rows, benchRow(9, " meoh ", 12))
		}, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"row of another number": {func(b *bench) { b.row(9, "methanol").CAS = "64-17-5" }, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"row by number only": {func(b *bench) { r := b.row(9, "methanol"); r.Name, r.CAS = "peak 4", "67-56-1" }, 80, "80.0", "", "20.0", Clear,
			""},
		"ratio overflows": {func(b *bench) {
			b.row(9, "methanol").Values[0].Value = ptr(math.MaxFloat64)
			b.row(9, "pentan-3-ol").Values[0].Value = ptr(1e-300)
		}, 0, "", "", "", Held, "analyte measured/methanol/9"},
		"internal standard is zero": {func(b *bench) { b.row(9, "pentan-3-ol").Values[0].Value = ptr(0.0) }, 0, "", "", "", Held,
			"analyte measured/methanol/9"},
		"cell in another unit": {func(b *bench) { b.row(9, "methanol").Values[0].Unit = "mg/L" }, 0, "", "", "", Held, "analyte measured/methanol/9"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev := b.evaluate()
			r := ev.result(9, "methanol", BasisAsIs)
			if tt.value == 0 && r.Value != nil || tt.value != 0 && !near(r.Value, tt.value) {
				t.Errorf("value %v, want %v", r.Value, tt.value)
			}
			if r.Reported != tt.reported || r.Censored != tt.censored || r.Disposition != tt.disposition {
				t.Errorf("reported %q, censored %q, %s by %q; want %q, %q, %s", r.Reported, r.Censored, r.Disposition, r.HeldBy, tt.reported, tt.censored, tt.disposition)
			}
			if tt.heldBy != "" && !slices.Contains(r.HeldBy, tt.heldBy) {
				t.Errorf("held by %q, want %q", r.HeldBy, tt.heldBy)
			}
			p := ev.result(9, "methanol", BasisPerAlcohol)
			if p.Reported != tt.perAlcohol || p.Censored != tt.censored || p.Disposition != tt.disposition {
				t.Errorf("per alcohol: reported %q, censored %q, %s by %q; want %q", p.Reported, p.Censored, p.Disposition, p.HeldBy, tt.perAlcohol)
			}
		})
	}
}

func TestStrengthHoldsOnlyPerAlcohol(t *testing.T) {
	related := func(kind string, v float64, unit string) func(*bench) {
		return func(b *bench) {
			b.in.Related[1].Kind, b.in.Related[1].Value, b.in.Related[1].Unit = kind, v, unit
		}
	}
	tests := map[string]struct {
		spoil   func(*bench)
		verdict string
	}{
		"real":               {func(*bench) {}, Pass},
		"none":               {func(b *bench) { b.in.Related = slices.Delete(b.in.Related, 1, 2) }, Pending},
		"none, batch closed": {func(b *bench) { b.in.Related = slices.Delete(b.in.Related, 1, 2); b.shut() }, Pending},
		"apparent":           {related("apparent", 40, "% vol"), Pending},
		"extract-corrected":  {related("apparent, extract-corrected", 40, "% vol"), Pending},
		"zero":               {related("real", 0, "% vol"), NotEvaluable},
		"above 100":          {related("real", 101, "% vol"), NotEvaluable},
		"other unit":         {related("real", 40, "mg/L"), NotEvaluable},
		"two": {func(b *bench) {
			other := b.in.Related[1]
			other.Revision, other.Value = "r2", 41
			b.in.Related = append(b.in.Related, other)
		}, NotEvaluable},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev := b.evaluate()
			c := ev.wantVerdict("strength available/all/S-2", tt.verdict)
			ev.wantHeld("methanol")
			r := ev.result(9, "methanol", BasisPerAlcohol)
			if tt.verdict == Pass {
				if want := (Pin{"strength of S-2", "r1"}); r.Disposition != Clear || !slices.Equal(r.Uses, []Pin{want}) {
					t.Errorf("%s, uses %v, want %v", r.Disposition, r.Uses, want)
				}
				return
			}
			if r.Disposition != Held || r.Value != nil || r.Reported != "" || len(r.Uses) > 0 {
				t.Errorf("%s, value %v %q, uses %v", r.Disposition, r.Value, r.Reported, r.Uses)
			}
			if tt.verdict == Pending && (c.WaitingFor != "the real strength of sample S-2" || !slices.Equal(r.WaitingFor, []string{c.WaitingFor})) {
				t.Errorf("the check waits for %q, the result for %q", c.WaitingFor, r.WaitingFor)
			}
			if other := ev.result(8, "methanol", BasisPerAlcohol); other.Disposition != Clear {
				t.Errorf("another sample is held by %q", other.HeldBy)
			}
		})
	}
}

func TestNotices(t *testing.T) {
	tests := map[string]struct {
		spoil       func(*bench)
		outcome     string // empty: no notice
		unconfirmed bool
	}{
		"below": {func(*bench) {}, OutcomeBelow, false},
		"at the limit": {func(b *bench) { b.in.Method.Notices[0].High = 20; b.amount(9, "methanol", 80) },
			OutcomeBelow, false},
		"above":                 {func(b *bench) { b.in.Method.Notices[0].High = 19 }, OutcomeAbove, false},
		"above and held":        {func(b *bench) { b.in.Method.Notices[0].High = 19; b.amount(7, "methanol", 9) }, OutcomeAbove, true},
		"over range, above":     {func(b *bench) { b.in.Method.Notices[0].High = 90; b.amount(9, "methanol", 500) }, OutcomeAbove, true},
		"over range, open":      {func(b *bench) { b.amount(9, "methanol", 500) }, OutcomeUndecided, true},
		"not found":             {func(b *bench) { b.drop(9, "methanol") }, OutcomeBelow, false},
		"LOQ above the limit":   {func(b *bench) { b.in.Method.Notices[0].High = 2; b.amount(9, "methanol", 5) }, OutcomeUndecided, false},
		"limit in another unit": {func(b *bench) { b.in.Method.Notices[0].High, b.in.Method.Notices[0].Unit = 150, "mg/L p.a." }, OutcomeAbove, false},
		"other category":        {func(b *bench) { b.in.Samples[1].Category = "perry spirit" }, "", false},
		"not registered":        {func(b *bench) { b.in.Samples = slices.Delete(b.in.Samples, 1, 2) }, "", false},
		"no strength":           {func(b *bench) { b.in.Related = slices.Delete(b.in.Related, 1, 2) }, "", false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev := b.evaluate()
			if n := ev.result(9, "methanol", BasisAsIs).Notices; len(n) > 0 {
				t.Errorf("a notice on the other basis: %v", n)
			}
			given := ev.result(9, "methanol", BasisPerAlcohol).Notices
			if tt.outcome == "" {
				if len(given) > 0 {
					t.Errorf("notice %v", given)
				}
				return
			}
			if len(given) != 1 {
				t.Fatalf("%d notices, want 1", len(given))
			}
			n := given[0]
			if n.Outcome != tt.outcome || n.Unconfirmed != tt.unconfirmed || !n.Toxic || !strings.HasSuffix(n.Text, "Methanol is toxic.") {
				t.Errorf("notice %+v, want %s, unconfirmed %v", n, tt.outcome, tt.unconfirmed)
			}
		})
	}
}

func TestStandardValidity(t *testing.T) {
	everything := []int{8, 9, 13, 16, 17}
	standardAt := func(b *bench, id string) int {
		return slices.IndexFunc(b.in.Standards, func(s standard.Standard) bool { return s.ID == id })
	}
	tests := map[string]struct {
		spoil   func(*bench)
		check   string
		verdict string
		held    []int
	}{
		"calibrant unknown": {func(b *bench) { b.member(2).Line.Standards = []string{"CAL-9"} }, "standard validity/all/2", Fail, everything},
		"calibrant unknown, nominal on the line": {func(b *bench) {
			b.member(2).Line.Standards = []string{"CAL-9"}
			b.member(2).Line.Nominals = []worklist.Nominal{{Analyte: "methanol", Value: 50, Unit: "mg/L"}}
		}, "standard validity/all/2", Fail, everything},
		"calibrant expired":            {func(b *bench) { b.in.Standards[standardAt(b, "CAL-1")].Expires = "2026-03-01" }, "standard validity/all/1", Fail, everything},
		"calibrant on its last day":    {func(b *bench) { b.in.Standards[standardAt(b, "CAL-1")].Expires = "2026-03-02" }, "standard validity/all/1", Pass, nil},
		"calibrant without expiry":     {func(b *bench) { b.in.Standards[standardAt(b, "CAL-1")].Expires = "" }, "standard validity/all/1", Fail, everything},
		"calibrant, unreadable expiry": {func(b *bench) { b.in.Standards[standardAt(b, "CAL-1")].Expires = "soon" }, "standard validity/all/1", Fail, everything},
		"date of use not known": {func(b *bench) { b.member(1).Started = parsers.Started{Status: parsers.StartAbsent} }, "standard validity/all/1",
			NotEvaluable, everything},
		"check standard expired": {func(b *bench) { b.in.Standards[standardAt(b, "CCV")].Expires = "2026-01-01" }, "standard validity/all/18", Fail,
			everything},
		"one check standard unknown": {func(b *bench) { b.member(18).Line.Standards = []string{"CCV-9"} }, "standard validity/all/18", Fail, []int{16, 17}},
		"initial check of the calibrants' lot": {func(b *bench) { b.in.Standards[standardAt(b, "ICV")].Lot = "l1 " }, "standard validity/all/6", Fail,
			everything},
		"initial check of the lot, other maker": {func(b *bench) {
			i := standardAt(b, "ICV")
			b.in.Standards[i].Lot, b.in.Standards[i].Maker = "L1", "other invented maker"
		}, "standard validity/all/6", Pass, nil},
		"initial check is a calibrant": {func(b *bench) { b.member(6).Line.Standards = []string{"CAL-4"}; b.amount(6, "methanol", 200) },
			"standard validity/all/6", Fail, everything},
		"standard of a sample unknown": {func(b *bench) { b.member(9).Line.Standards = []string{"IS-9"} }, "standard validity/all/9", Fail, []int{9}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev := b.evaluate()
			ev.wantVerdict(tt.check, tt.verdict)
			ev.wantHeld("methanol", tt.held...)
		})
	}
}

func TestCalibrationAcceptance(t *testing.T) {
	tests := map[string]struct {
		spoil   func(*bench)
		verdict string
		reason  string
	}{
		"too few levels":              {func(b *bench) { b.strike(3) }, Fail, "4 levels (limit at least 5)"},
		"two calibrants of one level": {func(b *bench) { b.member(3).Line.Standards = []string{"CAL-2"}; b.amount(3, "methanol", 50) }, Fail, "4 levels"},
		"r² too low":                  {func(b *bench) { b.rule(method.RuleCalibration).BackCalc = nil; b.amount(3, "methanol", 140) }, Fail, "r² 0."},
		"one level off":               {func(b *bench) { b.rule(method.RuleCalibration).MinR2 = nil; b.amount(3, "methanol", 125) }, Fail, "position 3 deviates"},
		"wider at the lowest":         {func(b *bench) { b.amount(1, "methanol", 11.5) }, Pass, ""},
		"lowest too far off":          {func(b *bench) { b.rule(method.RuleCalibration).BackCalcFirst = ptr(2.0); b.amount(1, "methanol", 11.5) }, Fail, "position 1 deviates"},
		"falling line": {func(b *bench) {
			for i, v := range []float64{400, 200, 100, 50, 10} {
				b.amount(i+1, "methanol", v)
			}
		}, Fail, "not above zero"},
		"flat line": {func(b *bench) {
			for p := 1; p <= 5; p++ {
				b.amount(p, "methanol", 7)
			}
		}, Fail, "does not change"},
		"no calibrants": {func(b *bench) {
			for p := 1; p <= 5; p++ {
				b.strike(p)
			}
		}, Missing, "no calibration standard"},
		"calibrant not found":    {func(b *bench) { b.drop(2, "methanol") }, NotEvaluable, "CAL-2 at position 2"},
		"calibrant not a number": {func(b *bench) { b.mark(2, "methanol", "?", "not a number") }, NotEvaluable, "CAL-2 at position 2"},
		"no internal standard":   {func(b *bench) { b.drop(2, "pentan-3-ol") }, NotEvaluable, "pentan-3-ol"},
		"amount in another unit": {func(b *bench) { b.in.Standards[0].Values[0].Unit, b.in.Standards[0].Values[0].Value = "g/L", 0.01 }, Pass, ""},
		"amount in a wrong unit": {func(b *bench) { b.in.Standards[0].Values[0].Unit = "% vol" }, NotEvaluable, "cannot convert"},
		"nominal on the line": {func(b *bench) {
			b.member(2).Line.Nominals = []worklist.Nominal{{Analyte: "Methanol", Value: 50, Unit: "mg/L"}}
			b.in.Standards[1].Values[0].Value = 9999
		}, Pass, ""},
		"two values": {func(b *bench) { b.member(2).Line.Standards = []string{"CAL-1", "CAL-2"} }, NotEvaluable, "2 values"},
		"diluted calibrant": {func(b *bench) {
			b.member(5).Line.Dilution = 2
			b.amount(5, "methanol", 200)
			b.amount(5, "ethyl acetate", 200)
			b.amount(16, "methanol", 150)
			b.in.Standards[3].Values[0].Value = 150
			b.amount(4, "methanol", 150)
		}, Pass, ""},
		"ambiguous calibrant": {func(b *bench) { b.contest(2); b.shut() }, Pending, "2 acquisitions claim"},
		"closed without one":  {func(b *bench) { b.await(2); b.shut() }, Missing, "closed without"},
		"zero level with 1/x": {func(b *bench) { b.in.Standards[0].Values[0].Value = 0; b.amount(1, "methanol", 0) }, Fail, "no weight"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			tt.spoil(b)
			ev := b.evaluate()
			c := ev.wantVerdict("calibration acceptance/methanol/run R1", tt.verdict)
			if !strings.Contains(c.Reason, tt.reason) {
				t.Errorf("reason %q, want %q in it", c.Reason, tt.reason)
			}
			if tt.verdict == Pass {
				ev.wantHeld("methanol")
				return
			}
			ev.wantHeld("methanol", 8, 9, 13, 16, 17)
			for _, cal := range ev.Calibrations {
				if cal.Analyte == "methanol" && (cal.Accepted || len(cal.Reasons) == 0) {
					t.Errorf("calibration accepted %v, reasons %q", cal.Accepted, cal.Reasons)
				}
			}
		})
	}
}

func TestCalibrationAsShown(t *testing.T) {
	ev := newBench(t).evaluate()
	c := ev.Calibrations[1]
	if c.Analyte != "methanol" || c.Run != "R1" || !c.Accepted || !slices.Equal(c.Range, []float64{10, 400}) || c.Unit != "mg/L" {
		t.Errorf("calibration %+v", c)
	}
	if math.Abs(c.Coefficients[0]) > 1e-12 || math.Abs(c.Coefficients[1]-benchSlope) > 1e-12 {
		t.Errorf("coefficients %v, want 0 and %v", c.Coefficients, benchSlope)
	}
	if len(c.Points) != 5 || c.Points[1].Standard != "CAL-2" || c.Points[1].Amount != 50 || !near(c.Points[1].Back, 50) || math.Abs(*c.Points[1].Deviation) > 1e-9 {
		t.Errorf("points %+v", c.Points)
	}
}

func TestLimitText(t *testing.T) {
	tests := map[string]struct {
		limit    float64
		censored string
		decimals int
		want     string
	}{
		"as rounded":               {0.5, CensorBelowLOQ, 1, "< 0.5"},
		"rounded up":               {0.26, CensorBelowLOQ, 1, "< 0.3"},
		"rounding claims too much": {0.24, CensorBelowLOQ, 1, "< 0.24"},
		"rounds to nothing":        {0.5, CensorBelowLOD, 0, "< 0.5"},
		"last digits of a product": {0.1 * 3, CensorBelowLOQ, 1, "< 0.3"},
		"above, rounded down":      {200.4, CensorAbove, 0, "> 200"},
		"above, too much claimed":  {200.6, CensorAbove, 0, "> 200.6"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := limitText(tt.limit, tt.censored, &tt.decimals, nil)
			if err != nil || got != tt.want {
				t.Errorf("%q, %v; want %q", got, err, tt.want)
			}
		})
	}
}

func TestWords(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 127: "127", 126.7754: "126.775", 1234567: "1234570", -0.25: "-0.25", 0.00001234: "1.234e-05", 5e10: "5e+10"} {
		if got := words(v); got != want {
			t.Errorf("words(%v) = %q, want %q", v, got, want)
		}
	}
}
