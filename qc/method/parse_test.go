package method

import (
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
