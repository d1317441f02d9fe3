package qc

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"underbond/qc/method"
	"underbond/qc/worklist"
)

// newCalibrated is a bench with one analyte and no internal standard: the calibrants
// given as amount and response, then samples given by their response.
func newCalibrated(t *testing.T, k method.Calibration, calibrants [][2]float64, samples ...float64) *bench {
	b := newBench(t)
	m := &b.in.Method
	m.InternalStandard, m.Notices = nil, nil
	m.Analytes = m.Analytes[:1]
	m.Analytes[0].Calibration, m.Analytes[0].LOD, m.Analytes[0].LOQ = k, nil, ptr(1e-6)
	m.Rules = []method.Rule{{Rule: method.RuleCalibration, Source: "invented", MinLevels: 2}}
	b.in.Members, b.in.Standards = nil, nil
	for i, p := range calibrants {
		id := fmt.Sprintf("CAL-%d", i+1)
		b.list(id, "L1", p[0])
		b.add(worklist.Line{Position: i + 1, Role: worklist.RoleStandard, Standards: []string{id}}, p[0])
		b.respond(i+1, p[1])
	}
	for i, response := range samples {
		position := len(calibrants) + i + 1
		b.add(worklist.Line{Position: position, Role: worklist.RoleSample, Sample: fmt.Sprintf("S-%d", i+1), PrepBatch: "P1"}, 0)
		b.respond(position, response)
	}
	return b
}

// respond sets the response of a position.
func (b *bench) respond(position int, response float64) {
	b.row(position, "methanol").Values[0] = CellValue{Meaning: "area", Text: fmt.Sprint(response), Value: &response}
}

// only gives the only calibration of an evaluation.
func (j *judged) only() Calibration {
	j.Helper()
	if len(j.Calibrations) != 1 {
		j.Fatalf("%d calibrations", len(j.Calibrations))
	}
	return j.Calibrations[0]
}

// values gives the amounts as is, in the order of positions; NaN for a result without.
func (j *judged) values() []float64 {
	var out []float64
	for _, r := range j.Results {
		if r.Basis != BasisAsIs {
			continue
		}
		v := math.NaN()
		if r.Value != nil {
			v = *r.Value
		}
		out = append(out, v)
	}
	return out
}

func closeTo(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func allClose(got, want []float64, tolerance float64) bool {
	return slices.EqualFunc(got, want, func(a, b float64) bool { return closeTo(a, b, tolerance) })
}

// fluorescein is the worked calibration of Miller & Miller, Statistics and Chemometrics
// for Analytical Chemistry, sections 5.4 to 5.7: amounts in pg/mL and intensities.
var fluorescein = [][2]float64{{0, 2.1}, {2, 5.0}, {4, 9.0}, {6, 12.6}, {8, 17.3}, {10, 21.0}, {12, 24.7}}

func TestModels(t *testing.T) {
	cases := map[string]struct {
		calibration method.Calibration
		calibrants  [][2]float64
		samples     []float64 // responses
		want        []float64 // amounts
		coefficient []float64
		tolerance   float64
	}{
		// Miller & Miller, section 5.6: 6.21 for 13.5 and 11.13 for 23.0; a = 1.52, b = 1.93.
		"straight line": {method.Calibration{Model: method.ModelStraightLine}, fluorescein,
			[]float64{13.5, 23.0}, []float64{6.21, 11.13}, []float64{1.518, 1.930}, 5e-3},
		// Factors 10, 11 and 11 have the mean 32/3.
		"average response factor": {method.Calibration{Model: method.ModelAverageFactor}, [][2]float64{{1, 10}, {2, 22}, {4, 44}},
			[]float64{32}, []float64{3}, []float64{32.0 / 3}, 1e-12},
		// Σxy/Σx² = 27.9/14.
		"line through the origin": {method.Calibration{Model: method.ModelThroughOrigin}, [][2]float64{{1, 2.1}, {2, 3.9}, {3, 6.0}},
			[]float64{27.9 / 7}, []float64{2}, []float64{27.9 / 14}, 1e-12},
		// 1 + 2x + 0.5x² with a tenth of the cubic contrast (-1, 2, 0, -2, 1), which a quadratic cannot see.
		"quadratic": {method.Calibration{Model: method.ModelQuadratic}, [][2]float64{{0, 0.9}, {1, 3.7}, {2, 7}, {3, 11.3}, {4, 17.1}},
			[]float64{9.125, 3.5}, []float64{2.5, 1}, []float64{1, 2, 0.5}, 1e-12},
		// Segments through (1, 10), (2, 30) and (4, 40), the last a mean of two.
		"point to point": {method.Calibration{Model: method.ModelPointToPoint}, [][2]float64{{1, 10}, {2, 30}, {4, 39}, {4, 41}},
			[]float64{20, 35, 30}, []float64{1.5, 3, 2}, []float64{}, 1e-12},
		// Σy/Σx.
		"1/x": {method.Calibration{Model: method.ModelThroughOrigin, Weighting: method.WeightInverseX}, [][2]float64{{1, 2}, {2, 4.4}, {4, 8}},
			[]float64{14.4 / 7 * 3}, []float64{3}, []float64{14.4 / 7}, 1e-12},
		// The mean of y/x.
		"1/x²": {method.Calibration{Model: method.ModelThroughOrigin, Weighting: method.WeightInverseXSq}, [][2]float64{{1, 2}, {2, 4.4}, {4, 8}},
			[]float64{6.2}, []float64{3}, []float64{6.2 / 3}, 1e-12},
		// Σx/Σ(x²/y).
		"1/y": {method.Calibration{Model: method.ModelThroughOrigin, Weighting: method.WeightInverseY}, [][2]float64{{1, 2}, {2, 4.4}, {4, 8}},
			[]float64{3 * 7 / (0.5 + 4/4.4 + 2)}, []float64{3}, []float64{7 / (0.5 + 4/4.4 + 2)}, 1e-12},
		// Replicates scatter as 1 to 2 to 3, so the weights are as 1 to 1/4 to 1/9, and with means of
		// 2.2, 4 and 6 the slope is (2.2 + 2 + 2)/(1 + 1 + 1).
		"1/s²": {method.Calibration{Model: method.ModelThroughOrigin, Weighting: method.WeightInverseS2},
			[][2]float64{{1, 2.1}, {1, 2.3}, {2, 3.8}, {2, 4.2}, {3, 5.7}, {3, 6.3}},
			[]float64{6.2}, []float64{3}, []float64{6.2 / 3}, 1e-12},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			ev := newCalibrated(t, c.calibration, c.calibrants, c.samples...).evaluate()
			k := ev.only()
			if !k.Accepted {
				t.Fatalf("not accepted: %q", k.Reasons)
			}
			if !allClose(k.Coefficients, c.coefficient, c.tolerance) {
				t.Errorf("coefficients %v, want %v", k.Coefficients, c.coefficient)
			}
			if got := ev.values(); !allClose(got, c.want, c.tolerance) {
				t.Errorf("amounts %v, want %v", got, c.want)
			}
			if k.Model != c.calibration.Model || k.Monotonic == nil || !*k.Monotonic {
				t.Errorf("%+v", k)
			}
			ev.wantHeld("methanol")
		})
	}
}

// Figures of the fluorescein line as published: s(y/x) 0.4329, s(b) 0.0409, s(a) 0.2949, r 0.9989;
// the limit of detection of section 5.7 is 0.67.
func TestDiagnosticsOfLine(t *testing.T) {
	k := newCalibrated(t, method.Calibration{Model: method.ModelStraightLine}, fluorescein, 13.5).evaluate().only()
	if !allClose(k.StdErrors, []float64{0.2949, 0.0409}, 6e-5) || !closeTo(*k.ResidualSD, 0.4329, 6e-5) || !closeTo(math.Sqrt(*k.R2), 0.9989, 5e-5) {
		t.Errorf("standard errors %v, s(y/x) %v, r² %v", k.StdErrors, *k.ResidualSD, *k.R2)
	}
	if !closeTo(*k.LOD, 0.67, 5e-3) || *k.LOQ <= *k.LOD || *k.DF != 5 || !closeTo(*k.AdjustedR2, 1-(1-*k.R2)*6/5, 1e-12) {
		t.Errorf("LOD %v, LOQ %v, %v degrees of freedom, adjusted r² %v", *k.LOD, *k.LOQ, *k.DF, *k.AdjustedR2)
	}
	if len(k.Covariance) != 2 || !closeTo(k.Covariance[1][1], k.StdErrors[1]*k.StdErrors[1], 1e-12) || k.RSEPercent == nil || k.RSDPercent != nil {
		t.Errorf("covariance %v, RSE %v, RSD %v", k.Covariance, k.RSEPercent, k.RSDPercent)
	}
	if len(k.LackOfFit) != 1 || k.LackOfFit[0].Test != TestMandel || k.LackOfFit[0].DF2 != 4 {
		t.Errorf("lack of fit %+v", k.LackOfFit)
	}
	if k.Points[3].Leverage == nil || !closeTo(*k.Points[3].Leverage, 1.0/7, 1e-12) { // the middle one
		t.Errorf("leverage %v", k.Points[3].Leverage)
	}
}

// Factors 10, 11 and 11 have the relative standard deviation (1/√3)/(32/3); the relative
// standard error of the amounts about them is what the acceptance rule limits.
func TestDiagnosticsOfFactor(t *testing.T) {
	b := newCalibrated(t, method.Calibration{Model: method.ModelAverageFactor}, [][2]float64{{1, 10}, {2, 22}, {4, 44}}, 32)
	percent := 100 / math.Sqrt(3) * 3 / 32
	for limit, accepted := range map[float64]bool{percent + 0.01: true, percent - 0.01: false} {
		b.rule(method.RuleCalibration).MaxRSE = &limit
		ev := b.evaluate()
		k := ev.only()
		if !closeTo(*k.RSDPercent, percent, 1e-9) || !closeTo(*k.RSEPercent, percent, 1e-9) || k.Weight != method.WeightInverseXSq {
			t.Errorf("RSD %v, RSE %v, weight %q", *k.RSDPercent, *k.RSEPercent, k.Weight)
		}
		if k.Accepted != accepted {
			t.Errorf("at most %v %%: accepted %v (%q)", limit, k.Accepted, k.Reasons)
		}
		if !accepted {
			ev.wantHeld("methanol", 4)
		}
	}
}

// The intercept of the fluorescein line is 1.518, which is 30.36 % of the response 5.0 at the lowest level.
func TestInterceptAcceptance(t *testing.T) {
	b := newCalibrated(t, method.Calibration{Model: method.ModelStraightLine}, fluorescein, 13.5)
	for limit, accepted := range map[float64]bool{30.4: true, 30.3: false} {
		b.rule(method.RuleCalibration).MaxIntercept = &limit
		if k := b.evaluate().only(); k.Accepted != accepted {
			t.Errorf("at most %v %%: accepted %v (%q)", limit, k.Accepted, k.Reasons)
		}
	}
}

// A point far off is named and stays in the fit.
func TestSuggestedExclusionIsOnlySuggested(t *testing.T) {
	points := [][2]float64{{1, 1.01}, {2, 1.98}, {3, 3.02}, {4, 3.99}, {5, 9}, {6, 6.01}, {7, 6.98}, {8, 8.02}}
	k := newCalibrated(t, method.Calibration{Model: method.ModelStraightLine}, points, 4).evaluate().only()
	if len(k.Exclusions) != 1 || !strings.HasPrefix(k.Exclusions[0], "position 5 ") || len(k.Points) != 8 || !k.Accepted {
		t.Errorf("suggested %q, %d points, accepted %v", k.Exclusions, len(k.Points), k.Accepted)
	}
}

func TestCurveThatCannotBeUsed(t *testing.T) {
	cases := map[string]struct {
		calibration method.Calibration
		calibrants  [][2]float64
		reason      string
		fitted      bool // the function is shown
	}{
		"1/s² without replicates": {method.Calibration{Model: method.ModelStraightLine, Weighting: method.WeightInverseS2},
			[][2]float64{{1, 1}, {1, 1.1}, {2, 2}, {2, 2.1}, {3, 3}}, "needs replicates of each level, and the level 3", false},
		"1/s² without scatter": {method.Calibration{Model: method.ModelStraightLine, Weighting: method.WeightInverseS2},
			[][2]float64{{1, 1}, {1, 1.1}, {2, 2}, {2, 2}, {3, 3}, {3, 3.1}}, "calibration standard at position 3", false},
		"factor at zero": {method.Calibration{Model: method.ModelAverageFactor},
			[][2]float64{{0, 0.1}, {1, 10}, {2, 21}}, "calibration standard at position 1", false},
		"quadratic that turns": {method.Calibration{Model: method.ModelQuadratic},
			[][2]float64{{0, 0}, {2, 16}, {4, 24}, {6, 24}, {8, 16.1}}, "does not rise", true},
		"segments that fall": {method.Calibration{Model: method.ModelPointToPoint},
			[][2]float64{{1, 10}, {2, 9}, {3, 30}}, "does not rise", true},
		"falling line": {method.Calibration{Model: method.ModelThroughOrigin},
			[][2]float64{{1, -1}, {2, -2.1}, {3, -3}}, "not above zero", true},
		"no degree of freedom": {method.Calibration{Model: method.ModelQuadratic},
			[][2]float64{{1, 1}, {2, 3}, {3, 6}}, "no degree of freedom", true},
		"one level": {method.Calibration{Model: method.ModelPointToPoint}, [][2]float64{{1, 1}, {1, 1.1}}, "one level", false},
		"flat":      {method.Calibration{Model: method.ModelThroughOrigin}, [][2]float64{{1, 5}, {2, 5}, {3, 5}}, "does not change", false},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			ev := newCalibrated(t, c.calibration, c.calibrants, 2).evaluate()
			k := ev.only()
			if k.Accepted || !strings.Contains(strings.Join(k.Reasons, "; "), c.reason) {
				t.Errorf("accepted %v, reasons %q", k.Accepted, k.Reasons)
			}
			if fitted := k.Monotonic != nil; fitted != c.fitted {
				t.Errorf("fitted: %v", fitted)
			}
			ev.wantHeld("methanol", len(c.calibrants)+1)
		})
	}
}

// A response beyond the top of a function is over range, one beyond its bottom below the
// LOQ, and one far below it is no measurement.
func TestResponseThatTheFunctionDoesNotReach(t *testing.T) {
	// 10x - x² turns at 5, where it is 25; a cubic contrast leaves degrees of freedom.
	turning := [][2]float64{{0, -0.01}, {1, 9.02}, {2, 16}, {3, 20.98}, {4, 24.01}}
	// x² + 1 turns at 0.
	sagging := [][2]float64{{1, 1.99}, {2, 5.02}, {3, 10}, {4, 16.98}, {5, 26.01}}
	segments := [][2]float64{{1, 10}, {2, 30}, {4, 40}}
	cases := map[string]struct {
		model      string
		calibrants [][2]float64
		response   float64
		loq        float64
		censored   string
		reported   string
	}{
		"quadratic, no such response":    {method.ModelQuadratic, turning, 26, 1, CensorAbove, "> 4.0"},
		"quadratic, beyond the levels":   {method.ModelQuadratic, turning, 24.5, 1, CensorAbove, "> 4.0"},
		"quadratic, below its bottom":    {method.ModelQuadratic, sagging, 0.9, 1, CensorBelowLOQ, "< 1.0"},
		"quadratic, far below":           {method.ModelQuadratic, sagging, -8, 1, CensorNone, ""},
		"segments, above":                {method.ModelPointToPoint, segments, 41, 1, CensorAbove, "> 4.0"},
		"segments, below":                {method.ModelPointToPoint, segments, 5, 1, CensorBelowLOQ, "< 1.0"},
		"segments, below, greater LOQ":   {method.ModelPointToPoint, segments, 5, 1.5, CensorBelowLOQ, "< 1.5"},
		"segments, far below the lowest": {method.ModelPointToPoint, segments, -35, 1, CensorNone, ""},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			b := newCalibrated(t, method.Calibration{Model: c.model}, c.calibrants, c.response)
			b.in.Method.Analytes[0].LOQ = &c.loq
			ev := b.evaluate()
			position := len(c.calibrants) + 1
			r := ev.result(position, "methanol", BasisAsIs)
			if r.Value != nil || r.Censored != c.censored || r.Reported != c.reported {
				t.Errorf("value %v, censored %q, reported %q", r.Value, r.Censored, r.Reported)
			}
			if wantHeld := c.censored != CensorBelowLOQ; (r.Disposition == Held) != wantHeld {
				t.Errorf("%s by %q", r.Disposition, r.HeldBy)
			}
		})
	}
}

// The range of a curved function ends with its calibrants, whatever the method validated.
func TestRangeOfCurvedFunction(t *testing.T) {
	for model, want := range map[string][]float64{method.ModelStraightLine: {0.5, 9}, method.ModelQuadratic: {1, 4}, method.ModelPointToPoint: {1, 4}} {
		k := method.Calibration{Model: model, RangeLow: ptr(0.5), RangeHigh: ptr(9.0)}
		c := newCalibrated(t, k, [][2]float64{{1, 3.1}, {2, 5}, {3, 7.2}, {4, 9.3}}, 5).evaluate().only()
		if !slices.Equal(c.Range, want) {
			t.Errorf("%s: range %v, want %v", model, c.Range, want)
		}
	}
}

// Amounts that differ by the rounding of a dilution are one level.
func TestLevelsWithinRounding(t *testing.T) {
	third := 1.0 / 3
	points := [][2]float64{{third, 10}, {math.Nextafter(third, 1), 12}, {2, 30}, {4, 40}}
	ev := newCalibrated(t, method.Calibration{Model: method.ModelPointToPoint}, points, 11).evaluate()
	if got := ev.values(); !allClose(got, []float64{third}, 1e-12) {
		t.Errorf("amounts %v", got)
	}
}
