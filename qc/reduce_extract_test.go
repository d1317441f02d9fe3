package qc_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"underbond/parsers"
	"underbond/parsers/extract"
	"underbond/qc"
	"underbond/qc/method"
	"underbond/qc/signal"
)

// diodeArray takes a spectrum from 200 nm to 400 nm every 2 nm at each of n times over 20 min:
// three peaks whose spectra differ, on noise.
func diodeArray(n int) []*parsers.Spectrum {
	chance := rand.New(rand.NewPCG(11, 12))
	var run []*parsers.Spectrum
	for i := range n {
		minutes := 20 * float64(i) / float64(n-1)
		s := &parsers.Spectrum{
			Index: i, ID: fmt.Sprintf("scan=%d", i+1), ScanTime: 60 * minutes,
			XAxis: parsers.Quantity{Name: "wavelength", Unit: "nm"}, YAxis: parsers.Quantity{Name: "absorbance", Unit: "1"},
		}
		for nm := 200.0; nm <= 400; nm += 2 {
			y := 0.02 + 1e-4*chance.NormFloat64()
			for _, p := range [][3]float64{{4, 0.8, 280}, {9, 0.4, 320}, {14.5, 0.2, 270}} {
				u, v := (minutes-p[0])/0.08, (nm-p[2])/15
				y += p[1] * math.Exp(-(u*u+v*v)/2)
			}
			s.X, s.Y = append(s.X, nm), append(s.Y, y)
		}
		run = append(run, s)
	}
	return run
}

func wavelengthTrace(nm, bandwidth float64) method.Trace {
	return method.Trace{Extract: method.ExtractWavelength, Wavelength: &nm, Bandwidth: &bandwidth}
}

// A trace extracted while spectra stream by is integrated like one computed from all of
// them at once by the definition: the mean of the ordinates within the band.
func TestReduceWavelengthTrace(t *testing.T) {
	run := diodeArray(2000)
	var signals []parsers.Signal
	var minutes, values []float64
	for _, s := range run {
		signals = append(signals, s)
		sum, n := 0.0, 0.0
		for i, nm := range s.X {
			if nm >= 278 && nm <= 282 {
				sum += s.Y[i]
				n++
			}
		}
		minutes, values = append(minutes, s.ScanTime/60), append(values, sum/n)
	}
	want, err := signal.Find(minutes, values, signal.Settings{Threshold: 10, MinWidth: 0.02, Smoothing: 7})
	if err != nil || len(want.Peaks) != 3 {
		t.Fatalf("%d peaks, %v", len(want.Peaks), err)
	}
	trace := wavelengthTrace(280, 4)
	red := reduce(t, methodOf(peakAt(4, trace)), signals...)
	noProblems(t, red)
	if len(red.Traces) != 1 {
		t.Fatalf("traces %+v", red.Traces)
	}
	got := red.Traces[0]
	if got.Extracted == nil || got.Extracted.Extract != method.ExtractWavelength || *got.Wavelength != 280 || got.ID != "absorption, 280 ± 2 nm" || got.Points != 2000 {
		t.Errorf("trace %+v", got)
	}
	if len(got.Peaks) != len(want.Peaks) {
		t.Fatalf("%d peaks, want %d", len(got.Peaks), len(want.Peaks))
	}
	for i, p := range got.Peaks {
		w := want.Peaks[i]
		if math.Abs(p.Area/w.Area-1) > 1e-12 || math.Abs(p.Apex-w.Apex) > 1e-12 || math.Abs(p.Height/w.Height-1) > 1e-12 {
			t.Errorf("peak %+v, want %+v", p, w)
		}
	}
	// At 280 nm the first substance has its whole absorbance, less what the band averages away.
	band := (2*math.Exp(-4.0/450) + 1) / 3
	if area := 0.8 * 0.08 * math.Sqrt(2*math.Pi) * band; math.Abs(got.Peaks[0].Area/area-1) > 0.005 {
		t.Errorf("area %v, want %v", got.Peaks[0].Area, area)
	}
}

// massRun is a run of mass spectra with one ion that elutes at 4 min and one that does not.
func massRun(n int) []parsers.Signal {
	chance := rand.New(rand.NewPCG(21, 22))
	var run []parsers.Signal
	for i := range n {
		minutes := 10 * float64(i) / float64(n-1)
		u := (minutes - 4) / 0.06
		run = append(run, &parsers.Spectrum{
			Index: i, MSLevel: 1 + i%2, Polarity: "negative", ScanTime: 60 * minutes,
			XAxis: parsers.Quantity{Name: "m/z", Unit: "1"}, YAxis: parsers.Quantity{Name: "intensity", Unit: "{counts}"},
			X: []float64{151.0395, 151.0430, 301.1},
			Y: []float64{100 + chance.NormFloat64() + 5000*math.Exp(-u*u/2), 40000 * math.Exp(-u*u/2), 2000 + chance.NormFloat64()},
		})
	}
	return run
}

func TestReduceExtractsIons(t *testing.T) {
	ion := func(mz float64, tolerance string) method.Trace {
		return method.Trace{Extract: method.ExtractIon, MZ: &mz, Tolerance: tolerance, MSLevel: 1}
	}
	narrow := 5000 * 0.06 * math.Sqrt(2*math.Pi)
	tests := map[string]struct {
		trace  method.Trace
		points int
		area   float64 // 0: no peak
	}{
		"ion, ppm":           {ion(151.04, "10 ppm"), 1000, narrow},
		"ion, daltons":       {ion(151.04, "0.001 Da"), 1000, narrow},
		"ion, wide":          {ion(151.04, "0.01 Da"), 1000, 9 * narrow},
		"ion that is none":   {ion(200, "0.01 Da"), 1000, 0},
		"total ion":          {method.Trace{Extract: method.ExtractTotalIon}, 2000, 9 * narrow},
		"total ion, level 2": {method.Trace{Extract: method.ExtractTotalIon, MSLevel: 2}, 1000, 9 * narrow},
		"base peak":          {method.Trace{Extract: method.ExtractBasePeak, Polarity: "negative"}, 2000, 38000 * 0.06 * 1.9},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, methodOf(peakAt(4, tt.trace)), massRun(2000)...)
			noProblems(t, red)
			if len(red.Traces) != 1 || red.Traces[0].Points != tt.points || !(*red.Traces[0].LastMin > 9.9) {
				t.Fatalf("traces %+v", red.Traces)
			}
			peaks := red.Traces[0].Peaks
			if tt.area == 0 {
				if len(peaks) != 0 {
					t.Errorf("peaks %+v", peaks)
				}
				return
			}
			// The base peak is cut off where another ion is the highest.
			tolerance := 0.01
			if tt.trace.Extract == method.ExtractBasePeak {
				tolerance = 0.3
			}
			if len(peaks) != 1 || math.Abs(peaks[0].Area/tt.area-1) > tolerance || math.Abs(peaks[0].Apex-4) > 0.01 {
				t.Errorf("peaks %+v, want area %v", peaks, tt.area)
			}
		})
	}
}

func TestReduceExtractionWithoutSpectra(t *testing.T) {
	trace := method.Trace{Extract: method.ExtractTotalIon, MSLevel: 3}
	t.Run("none of the level", func(t *testing.T) {
		red := reduce(t, methodOf(peakAt(4, trace)), massRun(20)...)
		hasProblem(t, red, qc.ProblemTrace, "", "no spectrum is one for the method's extraction of total ion current, MS level 3")
		if len(red.Traces) != 0 {
			t.Errorf("traces %+v", red.Traces)
		}
	})
	t.Run("an impossible window", func(t *testing.T) {
		red := reduce(t, methodOf(peakAt(4, method.Trace{Extract: method.ExtractIon, MZ: ptr(-1.0), Tolerance: "1 Da"})), massRun(20)...)
		hasProblem(t, red, qc.ProblemTrace, "", "no spectrum is one for")
	})
	t.Run("a wavelength that the detector does not have", func(t *testing.T) {
		var signals []parsers.Signal
		for _, s := range diodeArray(50) {
			signals = append(signals, s)
		}
		red := reduce(t, methodOf(peakAt(4, wavelengthTrace(700, 4))), signals...)
		hasProblem(t, red, qc.ProblemChromatogram, "absorption, 700 ± 2 nm", "no points")
	})
	t.Run("a spectrum without a time", func(t *testing.T) {
		run := massRun(2000)
		run[7].(*parsers.Spectrum).ScanTime = math.NaN()
		red := reduce(t, methodOf(peakAt(4, method.Trace{Extract: method.ExtractTotalIon})), run...)
		if len(red.Problems) != 1 || red.Problems[0].Code != extract.CodeNoTime || red.Problems[0].Grade != parsers.Lost || red.Traces[0].Points != 1999 {
			t.Errorf("problems %v", red.Problems)
		}
	})
}

// What is extracted and what the export itself holds are never taken for each other.
func TestReduceTellsExtractedFromRecorded(t *testing.T) {
	recorded := recorder(500, math.NaN())
	recorded.ID, recorded.Kind = "TIC", "total ion current"
	signals := append(massRun(2000), recorded)
	for name, tt := range map[string]struct {
		trace     method.Trace
		extracted bool
	}{
		"recorded":  {method.Trace{Kind: "total ion current"}, false},
		"extracted": {method.Trace{Extract: method.ExtractTotalIon}, true},
	} {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, methodOf(peakAt(4, tt.trace)), signals...)
			noProblems(t, red)
			if len(red.Traces) != 1 || (red.Traces[0].Extracted != nil) != tt.extracted || (red.Traces[0].ID == "TIC") == tt.extracted {
				t.Errorf("traces %+v", red.Traces)
			}
		})
	}
	t.Run("both", func(t *testing.T) {
		red := reduce(t, methodOf(peakAt(4, method.Trace{Kind: "total ion current"}), peakAt(4, method.Trace{Extract: method.ExtractTotalIon})), signals...)
		noProblems(t, red)
		if len(red.Traces) != 2 {
			t.Errorf("traces %+v", red.Traces)
		}
	})
}

// The second acquisition of a file starts with traces of its own.
func TestReduceExtractsFromEachAcquisition(t *testing.T) {
	var points []int
	r := qc.NewReducer(qc.NewPlan(methodOf(peakAt(4, method.Trace{Extract: method.ExtractTotalIon}))), func(_ parsers.Header, trailer parsers.Trailer, red *qc.Reduction) error {
		points = append(points, red.Traces[0].Points)
		if len(trailer.Problems) != 0 {
			return fmt.Errorf("trailer %+v", trailer)
		}
		return nil
	})
	for record, n := range []int{100, 300} {
		if err := r.Begin(parsers.Header{Record: record + 1}); err != nil {
			t.Fatal(err)
		}
		for _, s := range massRun(n) {
			if err := r.Signal(s); err != nil {
				t.Fatal(err)
			}
		}
		if err := r.End(parsers.Trailer{}); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(points, []int{100, 300}) {
		t.Errorf("points %v", points)
	}
}

// An analyte's departure makes a trace of its own beside that of the method's settings.
func TestReduceDepartures(t *testing.T) {
	wide := peakAt(9, uvTrace())
	wide.Chromatogram.Integration = &method.PeakIntegration{MaxWidth: ptr(0.1)}
	fixed := peakAt(9, uvTrace())
	fixed.Chromatogram.Integration = &method.PeakIntegration{Start: ptr(8.5), End: ptr(9.5)}
	empty := peakAt(11, uvTrace())
	empty.Chromatogram.Integration = &method.PeakIntegration{Start: ptr(11.0), End: ptr(12.0)}
	outside := peakAt(11, uvTrace())
	outside.Chromatogram.Integration = &method.PeakIntegration{Start: ptr(19.0), End: ptr(21.0)}
	tests := map[string]struct {
		source method.Source
		peaks  int
	}{
		"largest width":             {wide, 0},
		"fixed limits":              {fixed, 1},
		"fixed limits around noise": {empty, 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, methodOf(peakAt(4, uvTrace()), tt.source, tt.source), recorder(4000, 280))
			noProblems(t, red)
			if len(red.Traces) != 2 || red.Traces[0].Departure != nil || len(red.Traces[0].Peaks) != 3 || red.Traces[1].Departure == nil {
				t.Fatalf("traces %+v", red.Traces)
			}
			peaks := red.Traces[1].Peaks
			if len(peaks) != tt.peaks {
				t.Fatalf("peaks %+v, want %d", peaks, tt.peaks)
			}
			if tt.peaks == 1 {
				p, area := peaks[0], 20*0.08*math.Sqrt(2*math.Pi)
				if p.Start != 8.5 || p.End != 9.5 || p.StartKind != string(signal.LimitSet) || math.Abs(p.Area/area-1) > 0.005 {
					t.Errorf("peak %+v, want area %v", p, area)
				}
			}
		})
	}
	t.Run("fixed limits outside the recording", func(t *testing.T) {
		hasProblem(t, reduce(t, methodOf(outside), recorder(4000, 280)), qc.ProblemChromatogram, "UV 280", "unusable set times")
	})
}

// The method's words for baselines are those of package signal, and all settings arrive there.
func TestIntegrationSettingsArrive(t *testing.T) {
	for in, known := range map[string]signal.Baseline{
		method.BaselineShapes: signal.Shapes, method.BaselineDrop: signal.Drop, method.BaselineValley: signal.Valley,
		method.BaselineSkim: signal.Skim, method.BaselineSet: signal.Set,
	} {
		if in != string(known) {
			t.Errorf("the method says %q, the integration %q", in, known)
		}
	}
	c := recorder(4000, 280)
	plain := reduce(t, methodOf(peakAt(4, uvTrace())), c).Traces[0]
	for name, change := range map[string]func(*method.Integration){
		"largest width": func(in *method.Integration) { in.MaxWidth = ptr(0.1) },
		"set lines": func(in *method.Integration) {
			in.Baseline, in.Lines = method.BaselineSet, []method.Span{{From: 3.9, To: 4.2}}
		},
		"noise": func(in *method.Integration) { in.Noise = &method.Span{From: 1, To: 2} },
	} {
		m := methodOf(peakAt(4, uvTrace()))
		change(m.Integration)
		red := reduce(t, m, c)
		noProblems(t, red)
		if canonical(t, red.Traces[0]) == canonical(t, plain) {
			t.Errorf("%s changes nothing", name)
		}
	}
	m := methodOf(peakAt(4, uvTrace()))
	m.Integration.SkimRatio = ptr(0.5)
	hasProblem(t, reduce(t, m, c), qc.ProblemChromatogram, "UV 280", "skim ratio 0.5")
}
