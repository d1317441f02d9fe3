package qc_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"underbond/qc"
	"underbond/qc/calibration"
	"underbond/qc/method"
)

func peakAt(minutes float64, trace method.Trace) method.Source {
	return method.Source{Chromatogram: &method.ChromatogramSource{Trace: trace, Retention: minutes, Window: 0.2, Response: "area"}}
}

func ordinateAt(at float64, baseline *float64) method.Source {
	return method.Source{Spectrum: &method.SpectrumSource{At: at, Unit: "nm", Baseline: baseline, Ordinate: "absorbance"}}
}

func column(meaning string) method.Source {
	return method.Source{Table: &method.TableSource{Value: meaning}}
}

// methodOf makes a method that takes its analytes from the given sources.
func methodOf(sources ...method.Source) *method.Method {
	m := &method.Method{Integration: &method.Integration{Threshold: 10, MinWidth: 0.02, Smoothing: 7}}
	for _, s := range sources {
		m.Analytes = append(m.Analytes, method.Analyte{Source: s})
	}
	return m
}

func uvTrace() method.Trace { return method.Trace{Kind: "absorption", Wavelength: ptr(280.0)} }

// What changes what reduction gives changes the plan, and nothing else does.
func TestPlanDigest(t *testing.T) {
	base := func() *method.Method {
		return methodOf(peakAt(4, uvTrace()), peakAt(9, uvTrace()), ordinateAt(420, nil), ordinateAt(420, ptr(700.0)), column("area"))
	}
	digest := qc.NewPlan(base()).Digest()
	if len(digest) != 64 {
		t.Fatalf("digest %q", digest)
	}
	for name, change := range map[string]func(*method.Method){
		"retention window":    func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Window = 0.5 },
		"retention":           func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Retention = 4.1 },
		"response":            func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Response = "height" },
		"limits":              func(m *method.Method) { m.Analytes[2].LOQ = ptr(0.1) },
		"names matched":       func(m *method.Method) { m.Analytes[4].Source.Table.Match = []string{"methanol"} },
		"version":             func(m *method.Method) { m.Version = "2" },
		"order of analytes":   func(m *method.Method) { m.Analytes[0], m.Analytes[4] = m.Analytes[4], m.Analytes[0] },
		"one more of a trace": func(m *method.Method) { m.Analytes = append(m.Analytes, methodOf(peakAt(11, uvTrace())).Analytes...) },
		"relative retention":  func(m *method.Method) { m.Analytes[0].Source.Chromatogram.RelativeRetention = ptr(0.9) },
		"replicates": func(m *method.Method) {
			m.Analytes[4].Source.Table.Replicates, m.Analytes[4].Source.Table.ReplicateRSD = true, ptr(5.0)
		},
		"qualifier of a known trace": func(m *method.Method) {
			m.Analytes[0].Source.Chromatogram.Qualifier = &method.Qualifier{Trace: uvTrace(), Ratio: 0.3, Tolerance: 20}
		},
		"internal standard of a known source": func(m *method.Method) {
			m.InternalStandard = &method.InternalStandard{Source: peakAt(6, uvTrace())}
		},
	} {
		t.Run(name+" does not count", func(t *testing.T) {
			m := base()
			change(m)
			if got := qc.NewPlan(m).Digest(); got != digest {
				t.Errorf("the plan changed to %+v", qc.NewPlan(m))
			}
		})
	}
	seen := map[string]string{digest: "the base"}
	for name, change := range map[string]func(*method.Method){
		"wavelength of a trace": func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.Wavelength = ptr(320.0) },
		"id of a trace":         func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.ID = "A" },
		"position":              func(m *method.Method) { m.Analytes[2].Source.Spectrum.At = 421 },
		"baseline":              func(m *method.Method) { m.Analytes[2].Source.Spectrum.Baseline = ptr(701.0) },
		"ordinate":              func(m *method.Method) { m.Analytes[2].Source.Spectrum.Ordinate = "transmittance" },
		"column":                func(m *method.Method) { m.Analytes[4].Source.Table.Value = "height" },
		"threshold":             func(m *method.Method) { m.Integration.Threshold = 3 },
		"least width":           func(m *method.Method) { m.Integration.MinWidth = 0.03 },
		"smoothing":             func(m *method.Method) { m.Integration.Smoothing = 9 },
		"kind of figure":        func(m *method.Method) { m.Analytes[2].Source.Spectrum.Kind = method.SpectrumBandHeight },
		"ends of a band":        func(m *method.Method) { m.Analytes[2].Source.Spectrum.From = ptr(400.0) },
		"other end of a band":   func(m *method.Method) { m.Analytes[2].Source.Spectrum.To = ptr(400.0) },
		"band divided":          func(m *method.Method) { m.Analytes[2].Source.Spectrum.Of = &method.Band{At: ptr(400.0)} },
		"band that divides":     func(m *method.Method) { m.Analytes[2].Source.Spectrum.By = &method.Band{At: ptr(400.0)} },
		"derivative": func(m *method.Method) {
			m.Analytes[2].Source.Spectrum.Derivative = &method.Derivative{Order: 1, Points: 5, Degree: 2}
		},
		"colour":         func(m *method.Method) { m.Analytes[2].Source.Spectrum.Component = method.ComponentA },
		"conversion":     func(m *method.Method) { m.Analytes[2].Source.Spectrum.Convert = true },
		"extraction":     func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.Extract = method.ExtractTotalIon },
		"m/z":            func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.MZ = ptr(151.0) },
		"mass tolerance": func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.Tolerance = "10 ppm" },
		"bandwidth":      func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.Bandwidth = ptr(4.0) },
		"MS level":       func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.MSLevel = 1 },
		"polarity":       func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Trace.Polarity = "positive" },
		"qualifier": func(m *method.Method) {
			m.Analytes[0].Source.Chromatogram.Qualifier = &method.Qualifier{Trace: method.Trace{ID: "Q"}, Ratio: 0.3, Tolerance: 20}
		},
		"largest width":     func(m *method.Method) { m.Integration.MaxWidth = ptr(1.0) },
		"baseline mode":     func(m *method.Method) { m.Integration.Baseline = method.BaselineDrop },
		"set times":         func(m *method.Method) { m.Integration.Lines = []method.Span{{From: 1, To: 2}} },
		"skim ratio":        func(m *method.Method) { m.Integration.SkimRatio = ptr(4.0) },
		"shoulders":         func(m *method.Method) { m.Integration.Shoulders = true },
		"noise":             func(m *method.Method) { m.Integration.Noise = &method.Span{From: 1, To: 2} },
		"own baseline":      departure(method.PeakIntegration{Baseline: method.BaselineDrop}),
		"own set times":     departure(method.PeakIntegration{Lines: []method.Span{{From: 1, To: 2}}}),
		"other set times":   departure(method.PeakIntegration{Lines: []method.Span{{From: 1, To: 3}}}),
		"own width":         departure(method.PeakIntegration{MinWidth: ptr(0.1)}),
		"own largest":       departure(method.PeakIntegration{MaxWidth: ptr(0.1)}),
		"own start":         departure(method.PeakIntegration{Start: ptr(0.1)}),
		"own end":           departure(method.PeakIntegration{End: ptr(0.1)}),
		"a feature":         feature(nil),
		"its name":          feature(func(f *method.Feature) { f.Name = "b" }),
		"its ordinate":      feature(func(f *method.Feature) { f.Ordinate = "transmittance" }),
		"its conversion":    feature(func(f *method.Feature) { f.Convert = true }),
		"its end":           feature(func(f *method.Feature) { f.To = 600 }),
		"its step":          feature(func(f *method.Feature) { f.Step = 2 }),
		"its treatment":     feature(func(f *method.Feature) { f.Treatment = method.TreatmentArea }),
		"interpolation":     feature(func(f *method.Feature) { f.Interpolation = method.InterpolationMonotone }),
		"no integration":    func(m *method.Method) { m.Integration = nil },
		"internal standard": func(m *method.Method) { m.InternalStandard = &method.InternalStandard{Source: column("amount")} },
	} {
		m := base()
		change(m)
		got := qc.NewPlan(m).Digest()
		if other, ok := seen[got]; ok {
			t.Errorf("%s gives the plan of %s", name, other)
		}
		seen[got] = name
	}
}

func departure(p method.PeakIntegration) func(*method.Method) {
	return func(m *method.Method) { m.Analytes[0].Source.Chromatogram.Integration = &p }
}

func feature(change func(*method.Feature)) func(*method.Method) {
	f := method.Feature{Name: "a", Unit: "nm", Ordinate: "absorbance", From: 400, To: 700, Step: 5}
	if change != nil {
		change(&f)
	}
	return func(m *method.Method) { m.Features = []method.Feature{f} }
}

// Linear interpolation is the same whether or not the method says so.
func TestPlanOfFeatures(t *testing.T) {
	digest := func(change func(*method.Feature)) string {
		m := methodOf()
		feature(change)(m)
		return qc.NewPlan(m).Digest()
	}
	if digest(nil) != digest(func(f *method.Feature) { f.Interpolation = method.InterpolationLinear }) {
		t.Error("another plan")
	}
	m := methodOf()
	feature(nil)(m)
	qc.NewPlan(m)
	if m.Features[0].Interpolation != "" {
		t.Error("the plan changed the method")
	}
}

func TestPlanDoesNotTouchTheMethod(t *testing.T) {
	m := methodOf(column("b"), column("a"))
	m.Integration.Smoothing = 1
	plan := qc.NewPlan(m)
	if m.Analytes[0].Source.Table.Value != "b" || m.Integration.Smoothing != 1 || plan.Columns[0] != "a" || plan.Integration != nil {
		t.Errorf("method %+v, plan %+v", m, plan)
	}
}

func TestPlanThatIsNotFinite(t *testing.T) {
	if got := qc.NewPlan(methodOf(ordinateAt(math.NaN(), nil))).Digest(); got != "" {
		t.Errorf("digest %q", got)
	}
}

func TestPlanIgnoresOrder(t *testing.T) {
	sources := []method.Source{
		peakAt(4, uvTrace()), peakAt(5, method.Trace{ID: "b"}), peakAt(5, method.Trace{ID: "a", Precursor: ptr(152.1)}), peakAt(5, method.Trace{Precursor: ptr(152.1), Product: ptr(81.0)}),
		ordinateAt(420, nil), ordinateAt(420, ptr(700.0)), ordinateAt(520, nil), column("area"), column("height"),
		peakAt(5, wavelengthTrace(280, 4)), peakAt(5, wavelengthTrace(280, 8)), peakAt(5, method.Trace{Extract: method.ExtractTotalIon}),
		figureOf(method.SpectrumSource{Kind: method.SpectrumBandArea, From: ptr(400.0), To: ptr(440.0)}),
		figureOf(method.SpectrumSource{Kind: method.SpectrumRatio, Of: &method.Band{At: ptr(420.0)}, By: &method.Band{At: ptr(520.0)}}),
		figureOf(method.SpectrumSource{Kind: method.SpectrumRatio, Of: &method.Band{At: ptr(520.0)}, By: &method.Band{At: ptr(420.0)}}),
	}
	for _, width := range []float64{0.1, 0.2} {
		own := peakAt(4, uvTrace())
		own.Chromatogram.Integration = &method.PeakIntegration{MaxWidth: &width}
		sources = append(sources, own)
	}
	want := qc.NewPlan(methodOf(sources...)).Digest()
	rapid.Check(t, func(t *rapid.T) {
		if got := qc.NewPlan(methodOf(rapid.Permutation(sources).Draw(t, "order")...)).Digest(); got != want {
			t.Fatalf("another order gives another plan")
		}
	})
}

// The method's words for weightings are those that the fit knows.
func TestWeightingsAgree(t *testing.T) {
	for in, known := range map[string]string{
		method.WeightNone: calibration.WeightNone, method.WeightInverseX: calibration.WeightInverseX, method.WeightInverseXSq: calibration.WeightInverseXSq,
		method.WeightInverseY: calibration.WeightInverseY, method.WeightInverseS2: calibration.WeightInverseS2,
	} {
		if in != known {
			t.Errorf("the method says %q, the fit %q", in, known)
		}
	}
}
