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
		"no integration":        func(m *method.Method) { m.Integration = nil },
		"internal standard":     func(m *method.Method) { m.InternalStandard = &method.InternalStandard{Source: column("amount")} },
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
