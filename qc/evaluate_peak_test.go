package qc

import (
	"math"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/spectrum"
	"underbond/qc/worklist"
)

// reaction is a chromatogram of one product ion with peaks of the given apexes and areas.
func reaction(product float64, peaks ...[2]float64) Trace {
	t := Trace{Kind: "selected reaction monitoring", Precursor: ptr(151.04), Product: &product, Points: 600, FirstMin: ptr(0.0), LastMin: ptr(10.0)}
	for _, p := range peaks {
		t.Peaks = append(t.Peaks, Peak{Apex: p[0], Area: p[1], Height: p[1] / 10})
	}
	return t
}

func product(mz float64) method.Trace {
	return method.Trace{Precursor: ptr(151.04), Product: &mz}
}

// lcBatch is one sample by liquid chromatography, its analyte "lead" taken from a product ion.
func lcBatch(t *testing.T, traces ...Trace) (*bench, *method.ChromatogramSource) {
	b := plainBatch(t)
	b.in.Method.Analytes = b.in.Method.Analytes[1:]
	source := &method.ChromatogramSource{Trace: product(136.016), Retention: 5, Window: 0.2, Response: "area"}
	b.in.Method.Analytes[0].Source = method.Source{Chromatogram: source}
	b.member(1).Reduction = &Reduction{Traces: traces}
	return b, source
}

// A failed qualifier ratio is "not identified", never "< LOD" and never a number.
func TestQualifierRatio(t *testing.T) {
	tests := map[string]struct {
		traces   []Trace
		change   func(*method.ChromatogramSource)
		reported string
		reason   string // of the hold
	}{
		"agrees":                {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5.01, 8})}, nil, "20.00", ""},
		"at the low limit":      {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5, 6.4})}, nil, "20.00", ""},
		"at the high limit":     {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5, 9.6})}, nil, "20.00", ""},
		"too low":               {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5, 6.3})}, nil, "", "not identified: the qualifier ratio is 0.315 (limit 0.32–0.48)"},
		"too high":              {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5, 9.7})}, nil, "", "not identified: the qualifier ratio is 0.485 (limit 0.32–0.48)"},
		"too low far below LOD": {[]Trace{reaction(136.016, [2]float64{5, 0.01}), reaction(108.02, [2]float64{5, 0.001})}, nil, "", "not identified: the qualifier ratio is 0.1 (limit"},
		"no qualifier peak":     {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5.3, 8})}, nil, "", "not identified: qualifier: no peak from 4.8 to 5.2 min"},
		"no qualifier trace":    {[]Trace{reaction(136.016, [2]float64{5, 20})}, nil, "", "not identified: qualifier: no such chromatogram"},
		"two qualifier peaks":   {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{4.9, 8}, [2]float64{5.1, 8})}, nil, "", "not identified: qualifier: not identified: 2 peaks"},
		"not a number":          {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5, math.NaN()})}, nil, "", "not identified: the qualifier ratio is not a number"},
		"divided by zero":       {[]Trace{reaction(136.016, [2]float64{5, 0}), reaction(108.02, [2]float64{5, 8})}, nil, "", "not identified: the qualifier ratio is not a number"},
		"by height":             {[]Trace{reaction(136.016, [2]float64{5, 20}), reaction(108.02, [2]float64{5, 8})}, func(s *method.ChromatogramSource) { s.Response = "height" }, "2.00", ""},
		"nothing at all there":  {[]Trace{reaction(136.016), reaction(108.02)}, nil, "< 0.10", ""},
		"qualifier not asked":   {[]Trace{reaction(136.016, [2]float64{5, 20})}, func(s *method.ChromatogramSource) { s.Qualifier = nil }, "20.00", ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, source := lcBatch(t, tt.traces...)
			source.Qualifier = &method.Qualifier{Trace: product(108.02), Ratio: 0.4, Tolerance: 20}
			if tt.change != nil {
				tt.change(source)
			}
			if name == "not a number" { // no input carries it, so only the reading can be asked
				if r := readPeak(b.member(1).Reduction, source); r.state != readNothing || r.reason != tt.reason {
					t.Errorf("state %v, %q", r.state, r.reason)
				}
				return
			}
			ev := b.evaluate()
			r := ev.result(1, "lead", BasisAsIs)
			if r.Reported != tt.reported || (r.Disposition == Held) != (tt.reason != "") {
				t.Errorf("%q, %s by %q; want %q", r.Reported, r.Disposition, r.HeldBy, tt.reported)
			}
			if tt.reason == "" {
				return
			}
			if r.Value != nil || r.Censored != CensorNone || len(r.HeldBy) != 1 {
				t.Fatalf("result %+v", r)
			}
			if c := ev.check(r.HeldBy[0]); c.Rule != method.RuleMeasured || c.Verdict != NotEvaluable || !strings.Contains(c.Reason, tt.reason) {
				t.Errorf("%s, %s: %q, want %q", c.Rule, c.Verdict, c.Reason, tt.reason)
			}
		})
	}
}

func TestRelativeRetention(t *testing.T) {
	is := func(apex float64) Trace {
		return Trace{ID: "IS", Points: 600, FirstMin: ptr(0.0), LastMin: ptr(10.0), Peaks: []Peak{{Apex: apex, Area: 2}}}
	}
	tests := map[string]struct {
		traces   []Trace
		reported string
		reason   string
	}{
		"as the internal standard elutes":    {[]Trace{is(6), reaction(136.016, [2]float64{5.1, 20})}, "10.00", ""},
		"both later":                         {[]Trace{is(6.4), reaction(136.016, [2]float64{5.44, 20})}, "10.00", ""},
		"only the analyte later":             {[]Trace{is(6), reaction(136.016, [2]float64{5.44, 20})}, "< 0.10", ""},
		"without the internal standard":      {[]Trace{reaction(136.016, [2]float64{5.1, 20})}, "", "internal standard ethyl vanillin: no such chromatogram"},
		"the internal standard is elsewhere": {[]Trace{is(7), reaction(136.016, [2]float64{5.1, 20})}, "", "internal standard ethyl vanillin: no peak from 5.5 to 6.5 min"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, source := lcBatch(t, tt.traces...)
			source.Retention, source.RelativeRetention = 0, ptr(0.85)
			b.in.Method.InternalStandard = &method.InternalStandard{Name: "ethyl vanillin", Amount: 1, Unit: "µg/L",
				Source: method.Source{Chromatogram: &method.ChromatogramSource{Trace: method.Trace{ID: "IS"}, Retention: 6, Window: 0.5, Response: "area"}}}
			ev := b.evaluate()
			r := ev.result(1, "lead", BasisAsIs)
			if r.Reported != tt.reported {
				t.Errorf("reported %q, want %q", r.Reported, tt.reported)
			}
			if tt.reason == "" {
				return
			}
			if r.Disposition != Held || len(r.HeldBy) != 1 || !strings.Contains(ev.check(r.HeldBy[0]).Reason, tt.reason) {
				t.Errorf("%s by %q", r.Disposition, r.HeldBy)
			}
		})
	}
	t.Run("the window must lie within the recording", func(t *testing.T) {
		cut := reaction(136.016)
		cut.LastMin = ptr(5.2)
		b, source := lcBatch(t, is(6), cut)
		source.Retention, source.RelativeRetention = 0, ptr(0.85)
		b.in.Method.InternalStandard = &method.InternalStandard{Name: "ethyl vanillin", Amount: 1, Unit: "µg/L",
			Source: method.Source{Chromatogram: &method.ChromatogramSource{Trace: method.Trace{ID: "IS"}, Retention: 6, Window: 0.5, Response: "area"}}}
		if r := b.evaluate().result(1, "lead", BasisAsIs); r.Reported != "" || r.Disposition != Held {
			t.Errorf("%q, %s", r.Reported, r.Disposition)
		}
	})
	t.Run("without an internal standard", func(t *testing.T) {
		b, source := lcBatch(t, reaction(136.016, [2]float64{5.1, 20}))
		source.Retention, source.RelativeRetention = 0, ptr(0.85)
		if r := b.evaluate().result(1, "lead", BasisAsIs); r.Reported != "" || r.Disposition != Held {
			t.Errorf("%q, %s", r.Reported, r.Disposition)
		}
	})
}

// Each analyte reads the trace that was integrated its way, extracted or recorded as it asks.
func TestSelectTraceByDeparture(t *testing.T) {
	fixed := &method.PeakIntegration{Start: ptr(4.5), End: ptr(5.5)}
	ion := method.Trace{Extract: method.ExtractIon, MZ: ptr(151.04), Tolerance: "10 ppm"}
	one := func(t Trace, area float64) Trace {
		t.Peaks = []Peak{{Apex: 5, Area: area}}
		return t
	}
	red := &Reduction{Traces: []Trace{
		one(Trace{ID: "A", Kind: "total ion current"}, 1),
		one(Trace{ID: "A", Kind: "total ion current", Departure: &method.PeakIntegration{Start: ptr(4.5), End: ptr(5.5)}}, 2),
		one(Trace{ID: "x", Kind: "selected ion current", Extracted: &ion}, 3),
		one(Trace{ID: "x", Kind: "selected ion current", Extracted: &ion, Departure: fixed}, 4),
	}}
	other := ion
	other.Tolerance = "20 ppm"
	for name, tt := range map[string]struct {
		trace     method.Trace
		departure *method.PeakIntegration
		want      float64 // 0: none
	}{
		"recorded":                    {method.Trace{ID: "A"}, nil, 1},
		"recorded, fixed limits":      {method.Trace{ID: "A"}, fixed, 2},
		"extracted":                   {ion, nil, 3},
		"extracted, fixed limits":     {ion, fixed, 4},
		"another extraction":          {other, nil, 0},
		"recorded of an extraction":   {method.Trace{ID: "x"}, nil, 0},
		"other limits":                {ion, &method.PeakIntegration{Start: ptr(4.0), End: ptr(5.5)}, 0},
		"a kind that both could be":   {method.Trace{Kind: "selected ion current"}, nil, 0},
		"a kind that one recorded is": {method.Trace{Kind: "total ion current"}, nil, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r := readPeak(red, &method.ChromatogramSource{Trace: tt.trace, Retention: 5, Window: 0.1, Response: "area", Integration: tt.departure})
			if (r.state == readFound) != (tt.want != 0) || r.state == readFound && r.value != tt.want {
				t.Errorf("state %v, value %v (%s); want %v", r.state, r.value, r.reason, tt.want)
			}
		})
	}
}

// The worklist's dilution multiplies the total phenolic index, once.
func TestPhenolicIndexIsDilutedOnce(t *testing.T) {
	source := method.SpectrumSource{Kind: method.SpectrumPhenolicIndex, Unit: "nm", Ordinate: method.OrdinateAbsorbance}
	m := method.Method{Name: "tpi", Version: "1", Analytes: []method.Analyte{{
		Name: "total phenolic index", Unit: "1", Source: method.Source{Spectrum: &source},
		Calibration: method.Calibration{Model: method.ModelNone}, Report: method.Report{Unit: "1", Decimals: ptr(2)},
	}}}
	var red *Reduction
	r := NewReducer(NewPlan(&m), func(_ parsers.Header, _ parsers.Trailer, out *Reduction) error {
		red = out
		return nil
	})
	s := &parsers.Spectrum{XAxis: parsers.Quantity{Name: "wavelength", Unit: "nm"}, YAxis: parsers.Quantity{Name: "absorbance", Unit: "1"},
		X: []float64{278, 280, 282}, Y: []float64{0.5, 0.412, 0.4}}
	for _, err := range []error{r.Begin(parsers.Header{}), r.Signal(s), r.End(parsers.Trailer{})} {
		if err != nil {
			t.Fatal(err)
		}
	}
	b := &bench{T: t, in: &Input{Schema: InputSchema, Method: m, Batch: Batch{Name: "UV-3", Instrument: "UV-1"}, Samples: []SampleFacts{{ID: "S-1", Category: "pear spirit"}}}}
	b.in.Members = []Member{{
		Line: worklist.Line{Position: 1, Run: "R1", Role: worklist.RoleSample, Sample: "S-1", Dilution: 50, Vial: "1"}, State: MemberRecorded,
		Acquisition: &AcquisitionRef{Instrument: "UV-1", Key: "1"}, Started: parsers.Started{Status: parsers.StartAbsent}, Reduction: red,
	}}
	want, err := spectrum.PhenolicIndex(0.412, 50)
	if err != nil {
		t.Fatal(err)
	}
	got := b.evaluate().result(1, "total phenolic index", BasisAsIs)
	if got.Value == nil || math.Abs(*got.Value-want) > 1e-12 || got.Reported != "20.60" {
		t.Errorf("%+v, want %v", got, want)
	}
}
