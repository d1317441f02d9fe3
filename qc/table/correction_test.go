package table

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers/parserstest"
)

func TestSensitivity(t *testing.T) {
	// The standard falls from 1000 to 800 over ten positions: at position 4 it would give 920.
	opening, closing := Drift{At: 0, Response: 1000}, Drift{At: 10, Response: 800}
	for name, tt := range map[string]struct {
		response, at, reference, want float64
		kind                          error
	}{
		"within":         {460, 4, 1000, 500, nil},
		"at the opening": {460, 0, 1000, 460, nil},
		"at the closing": {400, 10, 1000, 500, nil},
		"before":         {460, -1, 1000, 0, ErrOutside},
		"after":          {460, 10.5, 1000, 0, ErrOutside},
		"missing":        {nan, 4, 1000, 0, ErrMissing},
		"no reference":   {460, 4, 0, 0, ErrUndefined},
	} {
		got, err := Sensitivity(tt.response, tt.at, opening, closing, tt.reference)
		if !errors.Is(err, tt.kind) || math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: got %v, %v; want %v", name, got, err, tt.want)
		}
	}
	for name, closing := range map[string]Drift{"no response": {10, 0}, "negative": {10, -5}, "same position": {0, 900}, "reversed": {-1, 900}} {
		if _, err := Sensitivity(460, 0, opening, closing, 1000); !errors.Is(err, ErrUndefined) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Sensitivity(460, 4, opening, Drift{10, nan}, 1000); !errors.Is(err, ErrMissing) {
		t.Errorf("missing closing standard: %v", err)
	}
}

func TestOffset(t *testing.T) {
	opening, closing := Drift{At: 2, Response: -10.40}, Drift{At: 6, Response: -10.60}
	got, err := Offset(-25.00, 4, opening, closing, -10.40)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "corrected", got, -24.90, 1e-12)
	if _, err := Offset(-25, 7, opening, closing, -10.4); !errors.Is(err, ErrOutside) {
		t.Errorf("after the bracket: %v", err)
	}
}

// A response that drifts as its standards do comes back as it was without drift.
func TestDriftIsUndone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slope, at := rapid.Float64Range(-0.05, 0.05).Draw(t, "slope"), rapid.Float64Range(0, 10).Draw(t, "at")
		truth := rapid.Float64Range(1, 1e6).Draw(t, "truth")
		opening, closing := Drift{0, 5000}, Drift{10, 5000 * (1 + 10*slope)}
		got, err := Sensitivity(truth*(1+slope*at), at, opening, closing, 5000)
		if err != nil || math.Abs(got-truth) > 1e-9*truth {
			t.Fatalf("got %v, %v; want %v", got, err, truth)
		}
		got, err = Offset(truth+slope*at, at, Drift{0, 7}, Drift{10, 7 + 10*slope}, 7)
		if err != nil || math.Abs(got-truth) > 1e-9*truth {
			t.Fatalf("got %v, %v; want %v", got, err, truth)
		}
	})
}

func nbs19(measured float64) Anchor {
	return Anchor{Material: "NBS 19", Measured: measured, Assigned: 1.95, Scales: []string{"VPDB", "VPDB-LSVEC"}}
}

func lsvec(measured float64) Anchor {
	return Anchor{Material: "LSVEC", Measured: measured, Assigned: -46.6, Scales: []string{"VPDB-LSVEC"}}
}

// A synthetic example: no published one was to be had.
func TestNormalise(t *testing.T) {
	got, err := Normalise(-24.15, 0, nbs19(2.30), lsvec(-45.90), "VPDB-LSVEC")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "δ", got.Delta, -24.692064, 5e-7)
	near(t, "stretch", got.Stretch, 48.55/48.20, 1e-12)
	if got.Scale != "VPDB-LSVEC" || got.Anchors != [2]string{"NBS 19", "LSVEC"} || got.Outside || got.Uncertainty != 0 {
		t.Errorf("got %+v", got)
	}
	out, err := Normalise(5, 0, nbs19(2.30), lsvec(-45.90), "VPDB-LSVEC")
	if err != nil || !out.Outside {
		t.Errorf("beyond the anchors: %+v, %v", out, err)
	}
}

func TestNormaliseRefuses(t *testing.T) {
	usgs40 := Anchor{Material: "USGS40", Measured: -26, Assigned: -26.39, Scales: []string{"VPDB-LSVEC"}}
	for name, tt := range map[string]struct {
		measured, uncertainty float64
		a, b                  Anchor
		scale                 string
		kind                  error
	}{
		"one material":      {-24, 0, nbs19(2.3), nbs19(2.4), "VPDB", ErrAnchors},
		"one value":         {-24, 0, usgs40, Anchor{Material: "other", Measured: -25, Assigned: -26.39, Scales: usgs40.Scales}, "VPDB-LSVEC", ErrAnchors},
		"measured the same": {-24, 0, nbs19(2.3), lsvec(2.3), "VPDB-LSVEC", ErrAnchors},
		"measured reversed": {-24, 0, nbs19(-45.9), lsvec(2.3), "VPDB-LSVEC", ErrAnchors},
		"another scale":     {-24, 0, nbs19(2.3), lsvec(-45.9), "VPDB", ErrAnchors},
		"no scale":          {-24, 0, nbs19(2.3), lsvec(-45.9), "", ErrAnchors},
		"no anchor":         {-24, 0, nbs19(2.3), Anchor{}, "VPDB", ErrAnchors},
		"missing":           {nan, 0, nbs19(2.3), lsvec(-45.9), "VPDB-LSVEC", ErrMissing},
		"missing anchor":    {-24, 0, nbs19(nan), lsvec(-45.9), "VPDB-LSVEC", ErrMissing},
		"uncertainty":       {-24, -0.1, nbs19(2.3), lsvec(-45.9), "VPDB-LSVEC", ErrUndefined},
	} {
		if got, err := Normalise(tt.measured, tt.uncertainty, tt.a, tt.b, tt.scale); !errors.Is(err, tt.kind) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

// A linear instrument is undone for every published reference material on one scale.
func TestReferenceMaterials(t *testing.T) {
	rows := parserstest.Reference(t, "isotope_reference_materials.csv")
	instrument := func(delta float64) float64 { return 0.37 + 0.9931*delta }
	seen := 0
	for _, row := range rows {
		if row[4] != "VPDB-LSVEC" {
			continue
		}
		seen++
		want := number(t, strings.TrimPrefix(row[2], "+"))
		got, err := Normalise(instrument(want), 0, nbs19(instrument(1.95)), lsvec(instrument(-46.6)), row[4])
		if err != nil {
			t.Fatal(err)
		}
		near(t, row[0], got.Delta, want, 1e-12)
		if outside := want > 1.95 || want < -46.6; got.Outside != outside && want != -46.6 {
			t.Errorf("%s at %v: outside is %v", row[0], want, got.Outside)
		}
	}
	if seen < 10 {
		t.Errorf("%d materials", seen)
	}
}

// The anchors themselves come back as assigned, in either order, and the uncertainty is
// that of the partial derivatives taken numerically.
func TestNormaliseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := func(name string) float64 { return rapid.Float64Range(0.001, 0.2).Draw(t, name) }
		a, b := nbs19(rapid.Float64Range(0, 4).Draw(t, "m1")), lsvec(rapid.Float64Range(-48, -44).Draw(t, "m2"))
		a.MeasuredUncertainty, a.AssignedUncertainty, b.MeasuredUncertainty, b.AssignedUncertainty = u("um1"), u("ua1"), u("um2"), u("ua2")
		m, um := rapid.Float64Range(-60, 40).Draw(t, "m"), u("um")
		value := func(m float64, a, b Anchor) Normalised {
			got, err := Normalise(m, um, a, b, "VPDB-LSVEC")
			if err != nil {
				t.Fatal(err)
			}
			return got
		}
		got, swapped := value(m, a, b), value(m, b, a)
		if math.Abs(got.Delta-swapped.Delta) > 1e-9 || math.Abs(got.Uncertainty-swapped.Uncertainty) > 1e-9 {
			t.Fatalf("%+v and %+v", got, swapped)
		}
		if math.Abs(value(a.Measured, a, b).Delta-1.95) > 1e-12 || math.Abs(value(b.Measured, a, b).Delta+46.6) > 1e-12 {
			t.Fatal("an anchor is not at its assigned value")
		}
		const h = 1e-5
		variance := 0.0
		for _, part := range []struct {
			u    float64
			with func(h float64) Normalised
		}{
			{um, func(h float64) Normalised { return value(m+h, a, b) }},
			{a.MeasuredUncertainty, func(h float64) Normalised { c := a; c.Measured += h; return value(m, c, b) }},
			{a.AssignedUncertainty, func(h float64) Normalised { c := a; c.Assigned += h; return value(m, c, b) }},
			{b.MeasuredUncertainty, func(h float64) Normalised { c := b; c.Measured += h; return value(m, a, c) }},
			{b.AssignedUncertainty, func(h float64) Normalised { c := b; c.Assigned += h; return value(m, a, c) }},
		} {
			d := (part.with(h).Delta - part.with(-h).Delta) / (2 * h) * part.u
			variance += d * d
		}
		if math.Abs(got.Uncertainty-math.Sqrt(variance)) > 1e-6 {
			t.Fatalf("uncertainty %v, want %v", got.Uncertainty, math.Sqrt(variance))
		}
	})
}
