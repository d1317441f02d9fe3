package method

import (
	"math"
	"os"
	"reflect"
	"slices"
	"testing"
	"time"

	"underbond/parsers/parserstest"
)

func TestParseBad(t *testing.T) {
	parserstest.Bad(t, os.DirFS("testdata/bad"), func(file string, data []byte) error {
		_, err := Parse(file, data)
		return err
	})
}

func TestSchema(t *testing.T) {
	schema, err := os.ReadFile("method.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	parserstest.Schema(t, schema, reflect.TypeFor[Method]())
}

func TestParseGood(t *testing.T) {
	data, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := Parse("good.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	if m.Version != "1.10" {
		t.Errorf("version 1.10 became %q", m.Version)
	}
	if want := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC); !m.EffectiveFrom.Equal(want) {
		t.Errorf("effective from %v", m.EffectiveFrom)
	}
	a := m.Analytes[0]
	if a.Name != "methanol" || *a.LOQ != 1.5 || a.Calibration.Weighting != WeightInverseXSq || *a.Report.PerAlcohol.Significant != 3 ||
		!slices.Equal(a.Source.Table.Match, []string{"Methanol", "67-56-1"}) {
		t.Errorf("analyte %+v", a)
	}
	if r := m.Rules[0]; r.MinLevels != 5 || *r.MinR2 != 0.995 || r.BackCalc != nil {
		t.Errorf("rule %+v", r)
	}
	if r := m.Rules[0]; *r.MaxRSE != 15 || *r.MaxIntercept != 30 {
		t.Errorf("rule %+v", r)
	}
	if u := m.UncertaintyOf(&a); u != m.Uncertainty || u.Approach != ApproachComponents || u.CoverageFactor != 2 || *u.Repeatability != 1.5 || u.Standards != StandardsFromList {
		t.Errorf("uncertainty %+v", u)
	}
	if u := m.UncertaintyOf(&m.Analytes[1]); u.Approach != ApproachTopDown || *u.Reproducibility != 4 || *u.Bias != 0 {
		t.Errorf("uncertainty %+v", u)
	}
	if d := m.Analytes[2].Source.Density; d.Density != "density" || d.Temperature != "temperature" {
		t.Errorf("source %+v", d)
	}
	if m.InternalStandard.Amount != 400 || !m.Notices[0].Toxic || m.Input.Profile != "gc-peaks" {
		t.Errorf("method %+v", m)
	}
}

func FuzzParse(f *testing.F) {
	parserstest.Seeds(f, os.DirFS("testdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse("f", data)
		if (m == nil) != (err != nil) {
			t.Fatalf("%v, %v", m, err)
		}
	})
}

// Sources of signals with all that can be said of them.
func TestParseSignals(t *testing.T) {
	data, err := os.ReadFile("testdata/signals.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := Parse("signals.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	s := m.Analytes[0].Source.Chromatogram
	if tr := s.Trace; tr.Extract != ExtractIon || *tr.MZ != 151.04 || tr.Tolerance != "10 ppm" || tr.MSLevel != 1 || tr.Polarity != "negative" {
		t.Errorf("trace %+v", tr)
	}
	if *s.RelativeRetention != 0.85 || s.Retention != 0 || s.Qualifier.Ratio != 0.4 || s.Qualifier.Tolerance != 20 || *s.Qualifier.Trace.Product != 136.016 {
		t.Errorf("source %+v", s)
	}
	settings := m.Integration.With(s.Integration)
	if settings.Baseline != BaselineSet || len(settings.Lines) != 1 || settings.Lines[0].To != 5.6 || *settings.MaxWidth != 1 || settings.Noise.From != 0.5 || *s.Integration.End != 5.4 {
		t.Errorf("settings %+v", settings)
	}
	if plain := m.Integration.With(nil); plain.Baseline != BaselineSkim || *plain.SkimRatio != 6 || !plain.Shoulders {
		t.Errorf("settings %+v", plain)
	}
	if c := m.Analytes[1].Source.Spectrum; c.Component != ComponentB || !c.Convert {
		t.Errorf("colour %+v", c)
	}
	if r := m.Analytes[2].Source.Spectrum; *r.Of.At != 420 || *r.By.From != 480 {
		t.Errorf("ratio %+v", r)
	}
	if grid := m.Features[0].Grid(); len(grid) != 61 || grid[60] != 700 {
		t.Errorf("grid %v", grid)
	}
}

func TestParseTolerance(t *testing.T) {
	for text, want := range map[string]struct {
		value float64
		ppm   bool
	}{"10 ppm": {10, true}, "0.01 Da": {0.01, false}, "1e-2 Da": {0.01, false}} {
		if value, ppm, err := ParseTolerance(text); err != nil || value != want.value || ppm != want.ppm {
			t.Errorf("%q: %v, %v, %v", text, value, ppm, err)
		}
	}
	for _, text := range []string{"", "10", "ppm", "10ppm", "10  ppm", "0 Da", "-1 Da", "NaN ppm", "Inf Da", "1 mDa", "1 Da "} {
		if value, _, err := ParseTolerance(text); err == nil {
			t.Errorf("%q gives %v", text, value)
		}
	}
}

func TestFeatureGrid(t *testing.T) {
	for name, tt := range map[string]struct {
		from, to, step float64
		n              int
		last           float64
	}{
		"whole steps":       {400, 700, 10, 31, 700},
		"steps of a third":  {400, 401, 1.0 / 3, 4, 401},
		"tenths":            {0.1, 0.7, 0.1, 7, 0.7},
		"last step over":    {400, 409, 2, 5, 408},
		"one step":          {400, 401, 2, 1, 400},
		"no step":           {400, 401, 0, 0, 0},
		"too many":          {1, 1e6, 1e-3, 0, 0},
		"falls":             {401, 400, 1, 0, 0},
		"not a number":      {math.NaN(), 400, 1, 0, 0},
		"step not a number": {400, 500, math.NaN(), 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			grid := Feature{From: tt.from, To: tt.to, Step: tt.step}.Grid()
			if len(grid) != tt.n || tt.n > 0 && (grid[0] != tt.from || math.Abs(grid[tt.n-1]-tt.last) > 1e-12 || grid[tt.n-1] > tt.to) {
				t.Errorf("grid %v", grid)
			}
		})
	}
}
