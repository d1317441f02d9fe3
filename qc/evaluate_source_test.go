package qc

import (
	"math"
	"testing"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/worklist"
)

func TestReadPeak(t *testing.T) {
	source := &method.ChromatogramSource{Trace: method.Trace{Kind: "absorption", Wavelength: ptr(280.0)}, Retention: 5, Window: 0.2, Response: "area"}
	trace := func(peaks ...Peak) Trace {
		return Trace{ID: "A", Kind: "Absorption", Wavelength: ptr(280.0), Points: 600, FirstMin: ptr(0.0), LastMin: ptr(10.0), Peaks: peaks}
	}
	peak := func(apex, area float64) Peak { return Peak{Apex: apex, Area: area, Height: area / 2} }
	height := *source
	height.Response = "height"
	tests := map[string]struct {
		source *method.ChromatogramSource
		traces []Trace
		state  readState
		value  float64
	}{
		"one peak":            {source, []Trace{trace(peak(4, 9), peak(5.1, 7))}, readFound, 7},
		"its height":          {&height, []Trace{trace(peak(5.1, 7))}, readFound, 3.5},
		"at the window's end": {source, []Trace{trace(peak(5.2, 7))}, readFound, 7},
		"none":                {source, []Trace{trace(peak(5.21, 7))}, readNotFound, 0},
		"two in the window":   {source, []Trace{trace(peak(4.9, 7), peak(5.1, 700))}, readNothing, 0},
		"area NaN":            {source, []Trace{trace(peak(5, math.NaN()))}, readNothing, 0},
		"apex NaN":            {source, []Trace{trace(peak(math.NaN(), 7))}, readNotFound, 0},
		"no trace":            {source, nil, readNothing, 0},
		"other wavelength":    {source, []Trace{{Kind: "absorption", Wavelength: ptr(320.0), Peaks: []Peak{peak(5, 7)}}}, readNothing, 0},
		"wavelength unknown":  {source, []Trace{{Kind: "absorption", Peaks: []Peak{peak(5, 7)}}}, readNothing, 0},
		"two traces":          {source, []Trace{trace(peak(5, 7)), trace(peak(5, 7))}, readNothing, 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := readPeak(&Reduction{Traces: tt.traces}, tt.source)
			if r.state == readFound {
				r = read(&Reduction{Traces: tt.traces}, method.Source{Chromatogram: tt.source}, "")
			}
			if r.state != tt.state || r.state == readFound && r.value != tt.value {
				t.Errorf("state %v, value %v (%s); want %v, %v", r.state, r.value, r.reason, tt.state, tt.value)
			}
			if r.state != readFound && r.reason == "" {
				t.Error("no reason given")
			}
		})
	}
}

func TestReadSpectrum(t *testing.T) {
	source := method.Source{Spectrum: &method.SpectrumSource{At: 420, Unit: "nm", Baseline: ptr(700.0), Ordinate: "absorbance"}}
	point := SpectrumPoint{SpectrumSource: *source.Spectrum, Value: ptr(0.31)}
	tests := map[string]struct {
		change func(*SpectrumPoint)
		state  readState
	}{
		"there":            {func(*SpectrumPoint) {}, readFound},
		"not to be had":    {func(p *SpectrumPoint) { p.Value, p.Reason = nil, "outside the spectrum" }, readNothing},
		"NaN":              {func(p *SpectrumPoint) { p.Value = ptr(math.NaN()) }, readNothing},
		"infinite":         {func(p *SpectrumPoint) { p.Value = ptr(math.Inf(1)) }, readNothing},
		"other position":   {func(p *SpectrumPoint) { p.At = 430 }, readNothing},
		"other unit":       {func(p *SpectrumPoint) { p.Unit = "cm-1" }, readNothing},
		"without baseline": {func(p *SpectrumPoint) { p.Baseline = nil }, readNothing},
		"transmittance":    {func(p *SpectrumPoint) { p.Ordinate = "transmittance" }, readNothing},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := point
			tt.change(&p)
			if r := read(&Reduction{Points: []SpectrumPoint{p}}, source, ""); r.state != tt.state || r.state == readFound && r.value != 0.31 {
				t.Errorf("state %v, value %v (%s); want state %v", r.state, r.value, r.reason, tt.state)
			}
		})
	}
}

func TestReadSpectrumWithoutBaseline(t *testing.T) {
	source := method.Source{Spectrum: &method.SpectrumSource{At: 420, Unit: "nm", Ordinate: "absorbance"}}
	red := &Reduction{Points: []SpectrumPoint{
		{SpectrumSource: method.SpectrumSource{At: 420, Unit: "nm", Baseline: ptr(700.0), Ordinate: "absorbance"}, Value: ptr(0.31)},
		{SpectrumSource: method.SpectrumSource{At: 420, Unit: "nm", Ordinate: "absorbance"}, Value: ptr(0.35)},
	}}
	if r := read(red, source, ""); r.state != readFound || r.value != 0.35 {
		t.Errorf("state %v, value %v (%s); want 0.35", r.state, r.value, r.reason)
	}
}

func TestCensorBound(t *testing.T) {
	tests := map[string]struct {
		text         string
		below, above float64 // NaN: no number
	}{
		"point":                 {"<0.05", 0.05, 0.05},
		"comma":                 {"< 0,05", 0.05, 0.05},
		"one of two meanings":   {"<1,250", 1250, 1.25},
		"point of two meanings": {">1.250", 1250, 1.25},
		"both marks":            {"> 1,250.5", 1250.5, 1250.5},
		"both marks, swapped":   {"≤1.250,5", 1250.5, 1250.5},
		"whole":                 {"<12", 12, 12},
		"leading zero":          {"<0.050", 0.05, 0.05},
		"spaces":                {"< 1 250", 1250, 1250},
		"words":                 {"<LOQ", math.NaN(), math.NaN()},
		"nothing":               {"<", math.NaN(), math.NaN()},
		"not a number":          {"<NaN", math.NaN(), math.NaN()},
		"infinite":              {"<Inf", math.NaN(), math.NaN()},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			for _, side := range []struct {
				pick func(a, b float64) float64
				want float64
			}{{math.Max, tt.below}, {math.Min, tt.above}} {
				got, ok := censorBound(tt.text, side.pick)
				if ok == math.IsNaN(side.want) || ok && math.Abs(got-side.want) > 1e-12 {
					t.Errorf("%q: %v, %v; want %v", tt.text, got, ok, side.want)
				}
			}
		})
	}
}

// plainBatch is one reading of a wide table: columns by meaning, no calibration, no rules.
func plainBatch(t *testing.T, cells ...CellValue) *bench {
	b := &bench{T: t, in: &Input{Schema: InputSchema, Batch: Batch{Name: "PM-7", Instrument: "PM-1"}, Samples: []SampleFacts{{ID: "S-1", Category: "cider spirit"}}}}
	analyte := func(name, column, unit string) method.Analyte {
		return method.Analyte{Name: name, Unit: unit, Source: method.Source{Table: &method.TableSource{Value: column}},
			Calibration: method.Calibration{Model: method.ModelNone}, LOD: ptr(0.1), LOQ: ptr(0.5), Report: method.Report{Unit: unit, Decimals: ptr(2)}}
	}
	b.in.Method = method.Method{Name: "elements", Version: "1", Analytes: []method.Analyte{analyte("copper", "Cu", "µg/L"), analyte("lead", "Pb", "µg/L")}}
	b.in.Members = []Member{{
		Line: worklist.Line{Position: 1, Run: "R1", Role: worklist.RoleSample, Sample: "S-1", Dilution: 1, Vial: "1"}, State: MemberRecorded,
		Acquisition: &AcquisitionRef{Instrument: "PM-1", Key: "1"}, Started: parsers.Started{Status: parsers.StartAbsent},
		Reduction: &Reduction{Rows: []TableRow{{Line: 4, Values: cells}}},
	}}
	return b
}

func TestPlainAmounts(t *testing.T) {
	cu := CellValue{Meaning: "Cu", Unit: "ug/L", Text: "310", Value: ptr(310.0)}
	pb := func(text, unit, mark string, v *float64) []CellValue {
		return []CellValue{cu, {Meaning: "Pb", Unit: unit, Text: text, Mark: mark, Value: v}}
	}
	tests := map[string]struct {
		cells       []CellValue
		change      func(*bench)
		reported    string
		disposition string
	}{
		"value":                   {pb("2.5", "ug/L", "", ptr(2.5)), nil, "2.50", Clear},
		"value without unit":      {pb("2.5", "", "", ptr(2.5)), nil, "2.50", Clear},
		"in another unit":         {pb("0.0025", "mg/L", "", ptr(0.0025)), nil, "2.50", Clear},
		"in an incompatible unit": {pb("2.5", "%{vol}", "", ptr(2.5)), nil, "", Held},
		"times a factor":          {pb("2.5", "ug/L", "", ptr(2.5)), func(b *bench) { b.in.Method.Analytes[1].Calibration.Factor = ptr(2.0) }, "5.00", Clear},
		"diluted":                 {pb("2.5", "ug/L", "", ptr(2.5)), func(b *bench) { b.member(1).Line.Dilution = 10 }, "25.00", Clear},
		"overflow":                {pb("1e308", "ug/L", "", ptr(1e308)), func(b *bench) { b.in.Method.Analytes[1].Calibration.Factor = ptr(1e10) }, "", Held},
		"overflow by dilution":    {pb("1e308", "ug/L", "", ptr(1e308)), func(b *bench) { b.member(1).Line.Dilution = 1e10 }, "", Held},
		"below, another is found": {pb("<0.05", "ug/L", "below", nil), nil, "< 0.10", Clear},
		"below what is too high":  {pb("<5", "ug/L", "below", nil), nil, "", Held},
		"below, alone":            {pb("<0.05", "ug/L", "below", nil)[1:], nil, "", Held},
		"not found, another is":   {pb("n.d.", "ug/L", "not found", nil), nil, "< 0.10", Clear},
		"above":                   {pb(">900", "ug/L", "above", nil), nil, "> 900.00", Held},
		"empty":                   {pb("", "ug/L", "empty", nil), nil, "", Held},
		"no such column":          {[]CellValue{cu}, nil, "", Held},
		"the column twice":        {append(pb("2.5", "ug/L", "", ptr(2.5)), CellValue{Meaning: "Pb", Value: ptr(2.5)}), nil, "", Held},
		"two rows":                {pb("2.5", "ug/L", "", ptr(2.5)), func(b *bench) { r := b.member(1).Reduction; r.Rows = append(r.Rows, r.Rows[0]) }, "", Held},
		"no rows":                 {nil, func(b *bench) { b.member(1).Reduction.Rows = nil }, "", Held},
		"below the validated range": {pb("2.5", "ug/L", "", ptr(2.5)), func(b *bench) {
			a := &b.in.Method.Analytes[1]
			a.LOD, a.LOQ, a.Calibration.RangeLow = nil, nil, ptr(3.0)
		}, "", Held},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := plainBatch(t, tt.cells...)
			if tt.change != nil {
				tt.change(b)
			}
			r := b.evaluate().result(1, "lead", BasisAsIs)
			if r.Reported != tt.reported || r.Disposition != tt.disposition {
				t.Errorf("%q, %s by %q; want %q, %s", r.Reported, r.Disposition, r.HeldBy, tt.reported, tt.disposition)
			}
			if r.Disposition == Held && len(r.HeldBy) == 0 {
				t.Error("held by nothing that could be named")
			}
		})
	}
}

// A chromatogram proves nothing beyond its own time, internal standard or not.
func TestNotFoundInChromatogramNeedsItsTime(t *testing.T) {
	for name, tt := range map[string]struct {
		last float64
		want string
	}{"spans the window": {10, "< 0.10"}, "stops inside it": {5.1, ""}} {
		t.Run(name, func(t *testing.T) {
			b := plainBatch(t)
			a := &b.in.Method.Analytes[1]
			a.Source = method.Source{Chromatogram: &method.ChromatogramSource{Trace: method.Trace{ID: "A"}, Retention: 5, Window: 0.2, Response: "area"}}
			b.member(1).Reduction = &Reduction{Traces: []Trace{{ID: "A", Points: 100, FirstMin: ptr(0.0), LastMin: ptr(tt.last)}}}
			if r := b.evaluate().result(1, "lead", BasisAsIs); r.Reported != tt.want {
				t.Errorf("reported %q, want %q", r.Reported, tt.want)
			}
		})
	}
}
