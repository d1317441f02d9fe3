package qc

import (
	"fmt"
	"strings"
	"testing"

	"underbond/qc/method"
	"underbond/qc/worklist"
)

// newDensity is a batch of one sample with cells for density and temperature.
func newDensity(t *testing.T, cells ...CellValue) *bench {
	b := newBench(t)
	b.in.Method = method.Method{Kind: "method", Name: "strength", Version: "1", Invented: true, Analytes: []method.Analyte{{
		Name: "strength", Unit: "% vol", Quantity: "strength",
		Source:      method.Source{Density: &method.DensitySource{Density: "density", Temperature: "temperature"}},
		Calibration: method.Calibration{Model: method.ModelNone}, Report: method.Report{Unit: "% vol", Decimals: ptr(2)},
	}}}
	b.in.Members, b.in.Standards, b.in.Related = nil, nil, nil
	b.add(worklist.Line{Position: 1, Role: worklist.RoleSample, Sample: "S-1"}, 0)
	b.member(1).Reduction.Rows = []TableRow{{Line: 2, Values: cells}}
	return b
}

func physicalCell(meaning, unit string, v float64) CellValue {
	return CellValue{Meaning: meaning, Unit: unit, Text: fmt.Sprint(v), Value: &v}
}

// The tables after OIML R 22 give 948.05 kg/m³ for 40 % vol at 20 °C.
func TestStrengthFromDensity(t *testing.T) {
	for unit, density := range map[string]float64{"kg/m³": 948.05, "g/cm³": 0.94805} {
		b := newDensity(t, physicalCell("density", unit, density), physicalCell("temperature", "Cel", 20))
		r := b.evaluate().result(1, "strength", BasisAsIs)
		if r.Reported != "40.00" || r.Kind != "apparent" || r.Disposition != Clear {
			t.Errorf("%s: %q, kind %q, %s by %q", unit, r.Reported, r.Kind, r.Disposition, r.HeldBy)
		}
		b.in.Method.Analytes[0].StrengthKind = "real"
		if r := b.evaluate().result(1, "strength", BasisAsIs); r.Kind != "real" {
			t.Errorf("kind %q", r.Kind)
		}
	}
}

func TestStrengthFromDensityRefused(t *testing.T) {
	density, temperature := physicalCell("density", "kg/m³", 948.05), physicalCell("temperature", "Cel", 20)
	cases := map[string]struct {
		cells  []CellValue
		reason string
	}{
		"too warm":                 {[]CellValue{density, physicalCell("temperature", "Cel", 40.1)}, "outside -20 to 40"},
		"too cold":                 {[]CellValue{density, physicalCell("temperature", "Cel", -20.1)}, "outside -20 to 40"},
		"heavier than water":       {[]CellValue{physicalCell("density", "kg/m³", 1010), temperature}, "density at 20 °C"},
		"temperature without unit": {[]CellValue{density, physicalCell("temperature", "", 20)}, "temperature"},
		"no temperature":           {[]CellValue{density}, "0 cells for temperature"},
		"density a limit":          {[]CellValue{{Meaning: "density", Unit: "kg/m³", Text: "<900", Mark: "below"}, temperature}, "<900"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			ev := newDensity(t, c.cells...).evaluate()
			if r := ev.result(1, "strength", BasisAsIs); r.Value != nil || r.Disposition != Held {
				t.Errorf("%v, %s", r.Value, r.Disposition)
			}
			check := ev.wantVerdict("analyte measured/strength/1", NotEvaluable)
			if !strings.Contains(check.Reason, c.reason) {
				t.Errorf("reason %q, want %q in it", check.Reason, c.reason)
			}
		})
	}
}
