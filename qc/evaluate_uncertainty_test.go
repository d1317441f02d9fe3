package qc

import (
	"math"
	"slices"
	"strings"
	"testing"

	"underbond/qc/method"
	"underbond/qc/worklist"
)

func componentsUncertainty() *method.Uncertainty {
	return &method.Uncertainty{Approach: method.ApproachComponents, CoverageFactor: 2, Source: "invented",
		Repeatability: ptr(2.0), Dilution: ptr(0.5), Standards: method.StandardsFromList}
}

// newBudget is the fluorescein line with a sample of response 13.5, diluted tenfold, and
// standards of at most 1 % expanded uncertainty.
func newBudget(t *testing.T, u *method.Uncertainty) *bench {
	b := newCalibrated(t, method.Calibration{Model: method.ModelStraightLine}, fluorescein, 13.5)
	b.in.Method.Uncertainty = u
	b.member(8).Line.Dilution = 10
	for i := range b.in.Standards {
		v := &b.in.Standards[i].Values[0]
		v.Uncertainty, v.K = ptr(0.008*v.Value), ptr(2.0)
	}
	largest := &b.in.Standards[3].Values[0]
	largest.Uncertainty, largest.K = ptr(0.015*largest.Value), ptr(3.0)
	b.in.Related[0].Uncertainty = ptr(0.1)
	return b
}

// The budget by hand, with Miller & Miller, sections 5.5 and 5.6: x0 = (13.5 - 1.517857)/1.930357 =
// 6.207216 and s(x0) = 0.432848/1.930357 sqrt(1 + 1/7 + 0.4²/(1.930357² 112)) = 0.239754. Diluted
// tenfold the amount is 62.0722, and
//
//	u² = 2.39754² + 62.0722² (0.02² + 0.005² + 0.005²),  u = 2.735331
//
// with 0.015/3 of the standard that is known least. At 40 ± 0.1 % vol it is 15.5180 g/hL of pure
// alcohol, and u² = (2.735331/4)² + (15.5180 · 0.1/40)².
func TestUncertaintyBudget(t *testing.T) {
	ev := newBudget(t, componentsUncertainty()).evaluate()
	asIs, perAlcohol := ev.result(8, "methanol", BasisAsIs), ev.result(8, "methanol", BasisPerAlcohol)
	if asIs.Uncertainty == nil || !closeTo(*asIs.Value, 62.07215541165588, 1e-9) || !closeTo(*asIs.Uncertainty, 2.735331304475472, 1e-9) {
		t.Errorf("%v ± %v", asIs.Value, asIs.Uncertainty)
	}
	if perAlcohol.Uncertainty == nil || !closeTo(*perAlcohol.Value, 15.51803885291397, 1e-9) || !closeTo(*perAlcohol.Uncertainty, 0.6849324007807058, 1e-9) {
		t.Errorf("%v ± %v per pure alcohol", perAlcohol.Value, perAlcohol.Uncertainty)
	}
	if asIs.CoverageFactor == nil || *asIs.CoverageFactor != 2 {
		t.Errorf("coverage factor %v", asIs.CoverageFactor)
	}
	if len(ev.Findings) > 0 {
		t.Errorf("findings %+v", ev.Findings)
	}
}

// Nothing was diluted: the dilution adds nothing.
func TestUncertaintyWithoutDilution(t *testing.T) {
	b := newBudget(t, componentsUncertainty())
	b.member(8).Line.Dilution = 1
	r := b.evaluate().result(8, "methanol", BasisAsIs)
	want := math.Hypot(0.23975422270299107, 6.207215541165588*math.Hypot(0.02, 0.005))
	if r.Uncertainty == nil || !closeTo(*r.Uncertainty, want, 1e-9) {
		t.Errorf("%v, want %v", r.Uncertainty, want)
	}
}

// 3 % reproducibility and 4 % bias are 5 %, whatever the calibration; an analyte's own statement
// goes before the method's.
func TestUncertaintyTopDown(t *testing.T) {
	b := newBudget(t, componentsUncertainty())
	b.in.Method.Analytes[0].Uncertainty = &method.Uncertainty{Approach: method.ApproachTopDown, CoverageFactor: 3, Source: "invented", Reproducibility: ptr(3.0), Bias: ptr(4.0)}
	b.in.Method.Analytes[0].Report.Unit = "g/L"
	r := b.evaluate().result(8, "methanol", BasisAsIs)
	if r.Uncertainty == nil || !closeTo(*r.Uncertainty, 0.05*0.06207215541165588, 1e-12) || *r.CoverageFactor != 3 {
		t.Errorf("%v ± %v, factor %v", r.Value, r.Uncertainty, r.CoverageFactor)
	}
}

// What is missing is not zero.
func TestUncertaintyNotToBeHad(t *testing.T) {
	cases := map[string]struct {
		spoil   func(*bench)
		finding string
	}{
		"standard without uncertainty": {func(b *bench) { b.in.Standards[2].Values[0].Uncertainty = nil }, "no uncertainty of methanol in standard CAL-3"},
		"calibrant without standard": {func(b *bench) {
			b.member(3).Line.Nominals = nominalOf("methanol", 4)
			b.member(3).Line.Standards = nil
		}, "names no standard"},
		"segments": {func(b *bench) { b.in.Method.Analytes[0].Calibration.Model = method.ModelPointToPoint }, "no standard error"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			b := newBudget(t, componentsUncertainty())
			c.spoil(b)
			ev := b.evaluate()
			r := ev.result(8, "methanol", BasisAsIs)
			if r.Value == nil || r.Uncertainty != nil || r.CoverageFactor != nil {
				t.Errorf("%v ± %v, factor %v", r.Value, r.Uncertainty, r.CoverageFactor)
			}
			findings := slices.DeleteFunc(ev.Findings, func(f Finding) bool { return f.Code != FindingUncertainty })
			if len(findings) != 1 || findings[0].Subject != "methanol" || !strings.Contains(findings[0].Text, c.finding) {
				t.Errorf("findings %+v", ev.Findings)
			}
		})
	}
}

// A method that asks for none gives none; a result without number has none.
func TestNoUncertainty(t *testing.T) {
	if r := newBudget(t, nil).evaluate().result(8, "methanol", BasisAsIs); r.Uncertainty != nil || r.CoverageFactor != nil {
		t.Errorf("± %v, factor %v", r.Uncertainty, r.CoverageFactor)
	}
	b := newBudget(t, componentsUncertainty())
	b.respond(8, 30)
	if r := b.evaluate().result(8, "methanol", BasisAsIs); r.Censored != CensorAbove || r.Uncertainty != nil {
		t.Errorf("%q ± %v", r.Censored, r.Uncertainty)
	}
}

// A strength without uncertainty is said once for the sample.
func TestUncertaintyWithoutThatOfTheStrength(t *testing.T) {
	b := newBudget(t, componentsUncertainty())
	b.in.Related[0].Uncertainty = nil
	ev := b.evaluate()
	if r := ev.result(8, "methanol", BasisPerAlcohol); r.Uncertainty == nil || !closeTo(*r.Uncertainty, 2.735331304475472/4, 1e-9) {
		t.Errorf("± %v", r.Uncertainty)
	}
	if len(ev.Findings) != 1 || ev.Findings[0].Subject != "sample S-1" {
		t.Errorf("findings %+v", ev.Findings)
	}
}

func TestUncertaintyThatIsNoInput(t *testing.T) {
	for name, u := range map[string]method.Uncertainty{
		"approach": {Approach: "guess", CoverageFactor: 2, Repeatability: ptr(1.0)},
		"factor":   {Approach: method.ApproachComponents, Repeatability: ptr(1.0)},
		"figures":  {Approach: method.ApproachTopDown, CoverageFactor: 2, Bias: ptr(1.0)},
	} {
		if _, err := Evaluate(newBudget(t, &u).in); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func nominalOf(analyte string, v float64) []worklist.Nominal {
	return []worklist.Nominal{{Analyte: analyte, Value: v, Unit: "mg/L"}}
}
