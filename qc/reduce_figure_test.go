package qc_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/method"
)

func figureOf(s method.SpectrumSource) method.Source {
	if s.Unit == "" {
		s.Unit = "nm"
	}
	if s.Ordinate == "" {
		s.Ordinate = "absorbance"
	}
	return method.Source{Spectrum: &s}
}

// triangle is a line of x/1000 with a triangular band of the height 0.3 from 440 to 460 nm.
func triangle() *parsers.Spectrum {
	s := spectrum(400, 1, 100)
	for i, x := range s.X {
		s.Y[i] += 0.3 * max(0, 1-math.Abs(x-450)/10)
	}
	return s
}

func spectrumOf(start, step float64, n int, y func(float64) float64) *parsers.Spectrum {
	s := &parsers.Spectrum{ID: "S1", XAxis: parsers.Quantity{Name: "wavelength", Unit: "nm"}, YAxis: parsers.Quantity{Name: "absorbance", Unit: "1"}}
	for i := range n {
		x := start + step*float64(i)
		s.X, s.Y = append(s.X, x), append(s.Y, y(x))
	}
	return s
}

func TestReduceFigures(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	square := spectrumOf(400, 1, 100, func(x float64) float64 { return 0.001 * x * x })
	tests := map[string]struct {
		source method.SpectrumSource
		s      *parsers.Spectrum
		want   float64
	}{
		// Over the line from 435 to 465 nm, which the band does not touch, only the triangle is left: 0.3 high, 10 · 0.3 in area.
		"band height":        {method.SpectrumSource{Kind: method.SpectrumBandHeight, At: 450, From: at(435), To: at(465)}, triangle(), 0.3},
		"on its flank":       {method.SpectrumSource{Kind: method.SpectrumBandHeight, At: 445, From: at(435), To: at(465)}, triangle(), 0.15},
		"band area":          {method.SpectrumSource{Kind: method.SpectrumBandArea, From: at(435), To: at(465)}, triangle(), 3},
		"area, ends swapped": {method.SpectrumSource{Kind: method.SpectrumBandArea, From: at(465), To: at(435)}, triangle(), 3},
		"ratio of ordinates": {method.SpectrumSource{Kind: method.SpectrumRatio, Of: &method.Band{At: at(420)}, By: &method.Band{At: at(480)}}, triangle(), 0.42 / 0.48},
		"ratio of a band to an ordinate": {method.SpectrumSource{Kind: method.SpectrumRatio, Of: &method.Band{At: at(450), From: at(435), To: at(465)}, By: &method.Band{At: at(480)}},
			triangle(), 0.3 / 0.48},
		"ratio of areas": {method.SpectrumSource{Kind: method.SpectrumRatio, Of: &method.Band{From: at(435), To: at(465)}, By: &method.Band{From: at(430), To: at(470)}}, triangle(), 1},
		// d(x²/1000)/dx = x/500; a parabola is fitted without error.
		"first derivative":  {method.SpectrumSource{Kind: method.SpectrumDerivative, At: 450, Derivative: &method.Derivative{Order: 1, Points: 7, Degree: 2}}, square, 0.9},
		"between points":    {method.SpectrumSource{Kind: method.SpectrumDerivative, At: 450.25, Derivative: &method.Derivative{Order: 1, Points: 7, Degree: 2}}, square, 0.9005},
		"second derivative": {method.SpectrumSource{Kind: method.SpectrumDerivative, At: 450, Derivative: &method.Derivative{Order: 2, Points: 9, Degree: 3}}, square, 0.002},
		"phenolic index":    {method.SpectrumSource{Kind: method.SpectrumPhenolicIndex}, spectrum(250, 1, 60), 0.28},
	}
	for name, tt := range tests {
		for _, falling := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				s := *tt.s
				s.X, s.Y = append([]float64(nil), s.X...), append([]float64(nil), s.Y...)
				if falling {
					reverse(&s)
				}
				red := reduce(t, methodOf(figureOf(tt.source)), &s)
				noProblems(t, red)
				if p := red.Points[0]; p.Value == nil || math.Abs(*p.Value-tt.want) > 1e-9 || p.Kind != tt.source.Kind {
					t.Errorf("falling %v: %v (%s), want %v", falling, p.Value, p.Reason, tt.want)
				}
			})
		}
	}
}

func TestReduceFiguresNotToBeHad(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	uneven := spectrum(400, 1, 100)
	uneven.X[3] += 0.3
	tests := map[string]struct {
		source method.SpectrumSource
		s      *parsers.Spectrum
		words  string
	}{
		"band outside":      {method.SpectrumSource{Kind: method.SpectrumBandArea, From: at(390), To: at(420)}, spectrum(400, 1, 100), "no band area (area from 390 to 420 nm of absorbance): 390 nm is outside"},
		"division by zero":  {method.SpectrumSource{Kind: method.SpectrumRatio, Of: &method.Band{At: at(420)}, By: &method.Band{At: at(450), From: at(440), To: at(460)}}, spectrum(400, 1, 100), "no ratio (420 nm to 450 nm over 440 to 460 nm of absorbance): the ratio of 0.42 to a band of "},
		"uneven steps":      {method.SpectrumSource{Kind: method.SpectrumDerivative, At: 450, Derivative: &method.Derivative{Order: 1, Points: 7, Degree: 2}}, uneven, "no derivative of absorbance at 450 nm: the step from"},
		"too near the end":  {method.SpectrumSource{Kind: method.SpectrumDerivative, At: 401, Derivative: &method.Derivative{Order: 1, Points: 7, Degree: 2}}, spectrum(400, 1, 100), "is missing"},
		"colour of a part":  {method.SpectrumSource{Kind: method.SpectrumColour, Component: "L*", Ordinate: "transmittance", Convert: true}, spectrum(400, 1, 100), "no colour L*: 380 nm is outside"},
		"index without 280": {method.SpectrumSource{Kind: method.SpectrumPhenolicIndex}, spectrum(400, 1, 100), "no total phenolic index: 280 nm is outside"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, methodOf(figureOf(tt.source)), tt.s)
			hasProblem(t, red, qc.ProblemOrdinate, "S1", tt.words)
			if p := red.Points[0]; p.Value != nil || p.Reason == "" {
				t.Errorf("point %+v", p)
			}
		})
	}
}

// One quantity is made of the other only when the method asks for it.
func TestReduceConversion(t *testing.T) {
	transmitting := func(unit string, full float64) *parsers.Spectrum {
		s := spectrumOf(400, 1, 100, func(x float64) float64 { return full * math.Pow(10, -x/1000) })
		s.YAxis = parsers.Quantity{Name: "transmittance", Unit: unit}
		return s
	}
	opaque := transmitting("%", 100)
	opaque.Y[20] = 0
	tests := map[string]struct {
		ordinate string
		s        *parsers.Spectrum
		want     float64 // NaN: none
		words    string
	}{
		"transmittance in percent":  {"absorbance", transmitting("%", 100), 0.42, ""},
		"transmittance as fraction": {"absorbance", transmitting("1", 1), 0.42, ""},
		"absorbance":                {"transmittance", spectrum(400, 1, 100), math.Pow(10, -0.42), ""},
		"nothing to convert":        {"absorbance", spectrum(400, 1, 100), 0.42, ""},
		"no light comes through":    {"absorbance", opaque, math.NaN(), "the ordinate at 420 nm is missing"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, methodOf(figureOf(method.SpectrumSource{At: 420, Ordinate: tt.ordinate, Convert: true})), tt.s)
			if math.IsNaN(tt.want) {
				hasProblem(t, red, qc.ProblemOrdinate, "S1", tt.words)
				return
			}
			noProblems(t, red)
			if p := red.Points[0]; p.Value == nil || math.Abs(*p.Value-tt.want) > 1e-12 {
				t.Errorf("point %+v, want %v", p, tt.want)
			}
		})
	}
	t.Run("not asked for", func(t *testing.T) {
		red := reduce(t, methodOf(figureOf(method.SpectrumSource{At: 420})), transmitting("%", 100))
		hasProblem(t, red, qc.ProblemOrdinate, "S1", "the method asks for absorbance, and the ordinate is transmittance in %")
	})
	t.Run("reflectance", func(t *testing.T) {
		s := spectrum(400, 1, 100)
		s.YAxis.Name = "reflectance"
		red := reduce(t, methodOf(figureOf(method.SpectrumSource{At: 420, Convert: true})), s)
		hasProblem(t, red, qc.ProblemOrdinate, "S1", "the method asks for absorbance, and the ordinate is reflectance")
	})
}

func labOf(t testing.TB, s *parsers.Spectrum) (l, a, b float64) {
	t.Helper()
	var sources []method.Source
	for _, c := range []string{method.ComponentL, method.ComponentA, method.ComponentB} {
		sources = append(sources, figureOf(method.SpectrumSource{Kind: method.SpectrumColour, Component: c, Ordinate: "transmittance", Convert: true}))
	}
	red := reduce(t, methodOf(sources...), s)
	by := map[string]float64{}
	for _, p := range red.Points {
		if p.Value == nil {
			t.Fatalf("point %+v", p)
		}
		by[p.Component] = *p.Value
	}
	return by["L*"], by["a*"], by["b*"]
}

func TestReduceColour(t *testing.T) {
	t.Run("clear is white", func(t *testing.T) {
		l, a, b := labOf(t, spectrumOf(380, 5, 81, func(float64) float64 { return 0 }))
		if math.Abs(l-100) > 1e-9 || math.Abs(a) > 1e-9 || math.Abs(b) > 1e-9 {
			t.Errorf("L* %v, a* %v, b* %v", l, a, b)
		}
	})
	t.Run("grey has no hue, and its lightness by the definition", func(t *testing.T) {
		rapid.Check(t, func(r *rapid.T) {
			transmittance := rapid.Float64Range(0.01, 1).Draw(r, "T")
			l, a, b := labOf(t, spectrumOf(380, 5, 81, func(float64) float64 { return -math.Log10(transmittance) }))
			if want := 116*math.Cbrt(transmittance) - 16; math.Abs(l-want) > 1e-9 || math.Abs(a) > 1e-9 || math.Abs(b) > 1e-9 {
				r.Fatalf("L* %v (want %v), a* %v, b* %v", l, want, a, b)
			}
		})
	})
	t.Run("what absorbs blue is yellow, and more of it is darker and more so", func(t *testing.T) {
		cask := func(strength float64) func(float64) float64 {
			return func(nm float64) float64 { return strength * math.Exp(-(nm-380)/60) }
		}
		lightness, yellow := 100.0, 0.0
		for _, strength := range []float64{0.1, 0.4, 1} {
			l, _, b := labOf(t, spectrumOf(370, 2, 220, cask(strength)))
			if !(l < lightness && b > yellow) {
				t.Errorf("at %v: L* %v, b* %v after L* %v, b* %v", strength, l, b, lightness, yellow)
			}
			lightness, yellow = l, b
		}
	})
	t.Run("the same from transmittance and from absorbance", func(t *testing.T) {
		absorbing := spectrumOf(380, 5, 81, func(nm float64) float64 { return nm / 1000 })
		transmitting := spectrumOf(380, 5, 81, func(nm float64) float64 { return 100 * math.Pow(10, -nm/1000) })
		transmitting.YAxis = parsers.Quantity{Name: "transmittance", Unit: "%"}
		l, a, b := labOf(t, absorbing)
		m, c, d := labOf(t, transmitting)
		if math.Abs(l-m) > 1e-9 || math.Abs(a-c) > 1e-9 || math.Abs(b-d) > 1e-9 {
			t.Errorf("%v %v %v, %v %v %v", l, a, b, m, c, d)
		}
	})
}

func TestReduceGrid(t *testing.T) {
	feature := method.Feature{Name: "visible", Unit: "nm", Ordinate: "absorbance", From: 410, To: 480, Step: 0.5}
	with := func(change func(*method.Feature)) *method.Method {
		f := feature
		change(&f)
		return &method.Method{Features: []method.Feature{f}}
	}
	numbers := func(g qc.Grid) []float64 {
		var out []float64
		for _, v := range g.Values {
			if v == nil {
				out = append(out, math.NaN())
				continue
			}
			out = append(out, *v)
		}
		return out
	}
	t.Run("as it is", func(t *testing.T) {
		red := reduce(t, with(func(*method.Feature) {}), spectrum(400, 1, 100))
		noProblems(t, red)
		got := numbers(red.Grids[0])
		if len(got) != 141 || red.Grids[0].Name != "visible" || len(red.Points) != 0 {
			t.Fatalf("grid %+v", red.Grids[0])
		}
		for i, v := range got {
			if want := (410 + 0.5*float64(i)) / 1000; math.Abs(v-want) > 1e-12 {
				t.Errorf("value %d is %v, want %v", i, v, want)
			}
		}
	})
	t.Run("monotone", func(t *testing.T) {
		red := reduce(t, with(func(f *method.Feature) { f.Interpolation = method.InterpolationMonotone }), triangle())
		noProblems(t, red)
		straight := numbers(reduce(t, with(func(*method.Feature) {}), triangle()).Grids[0])
		for i, v := range numbers(red.Grids[0]) {
			if i%2 == 0 && v != straight[i] || i == 61 && v == straight[i] {
				t.Errorf("value %d is %v, by straight lines %v", i, v, straight[i])
			}
		}
	})
	t.Run("standard normal variate", func(t *testing.T) {
		got := numbers(reduce(t, with(func(f *method.Feature) { f.Treatment = method.TreatmentVariate }), triangle()).Grids[0])
		var mean, squares float64
		for _, v := range got {
			mean += v / float64(len(got))
		}
		for _, v := range got {
			squares += (v - mean) * (v - mean)
		}
		if sd := math.Sqrt(squares / float64(len(got)-1)); math.Abs(mean) > 1e-12 || math.Abs(sd-1) > 1e-12 {
			t.Errorf("mean %v, standard deviation %v", mean, sd)
		}
	})
	t.Run("area", func(t *testing.T) {
		got := numbers(reduce(t, with(func(f *method.Feature) { f.Treatment = method.TreatmentArea }), triangle()).Grids[0])
		var area float64
		for i := 1; i < len(got); i++ {
			area += 0.5 * (got[i] + got[i-1]) / 2
		}
		if math.Abs(area-1) > 1e-12 {
			t.Errorf("area %v", area)
		}
	})
	t.Run("derivative", func(t *testing.T) {
		got := numbers(reduce(t, with(func(f *method.Feature) {
			f.Treatment, f.Derivative = method.TreatmentDerivative, &method.Derivative{Order: 1, Points: 5, Degree: 2}
		}), spectrum(400, 1, 100)).Grids[0])
		for i, v := range got {
			if ends := i < 2 || i >= len(got)-2; ends != math.IsNaN(v) || !ends && math.Abs(v-0.001) > 1e-12 {
				t.Errorf("value %d is %v", i, v)
			}
		}
	})
	t.Run("a gap is missing, not interpolated", func(t *testing.T) {
		s := spectrum(400, 1, 100)
		cut(s, 21, 40)
		got := numbers(reduce(t, with(func(*method.Feature) {}), s).Grids[0])
		if math.IsNaN(got[20]) || !math.IsNaN(got[21]) || !math.IsNaN(got[59]) || math.IsNaN(got[60]) {
			t.Errorf("values %v", got)
		}
	})
	for name, tt := range map[string]struct {
		change  func(*method.Feature)
		signals []parsers.Signal
		element string
		words   string
	}{
		"beyond the spectrum": {func(f *method.Feature) { f.To = 800 }, []parsers.Signal{spectrum(400, 1, 100)}, "S1", "outside the recorded range"},
		"another axis":        {func(f *method.Feature) { f.Unit = "cm-1" }, []parsers.Signal{spectrum(400, 1, 100)}, "S1", "the abscissa is wavelength in nm"},
		"another ordinate":    {func(f *method.Feature) { f.Ordinate = "transmittance" }, []parsers.Signal{spectrum(400, 1, 100)}, "S1", "asks for transmittance"},
		"two that fit":        {func(*method.Feature) {}, []parsers.Signal{spectrum(400, 1, 100), spectrum(400, 1, 100)}, "S1", "2 spectra have absorbance"},
		"no spectrum":         {func(*method.Feature) {}, nil, "", "no spectrum"},
		"without spread":      {func(f *method.Feature) { f.Treatment = method.TreatmentVariate }, []parsers.Signal{spectrumOf(400, 1, 100, func(float64) float64 { return 1 })}, "S1", "without spread"},
	} {
		t.Run(name, func(t *testing.T) {
			red := reduce(t, with(tt.change), tt.signals...)
			hasProblem(t, red, qc.ProblemGrid, tt.element, tt.words)
			if g := red.Grids[0]; len(g.Values) != 0 || !strings.Contains(g.Reason, tt.words) {
				t.Errorf("grid %+v", g)
			}
		})
	}
}
