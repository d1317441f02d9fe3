package table

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers/parserstest"
)

var nan = math.NaN()

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v within %g", what, got, want, tolerance)
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestSummarise(t *testing.T) {
	for name, tt := range map[string]struct {
		readings      []float64
		n, missing    int
		mean, sd, rsd float64
	}{
		"by hand":       {[]float64{2, 4, 4, 4, 5, 5, 7, 9}, 8, 0, 5, math.Sqrt(32.0 / 7), 20 * math.Sqrt(32.0/7)},
		"one missing":   {[]float64{1, nan, 3}, 2, 1, 2, math.Sqrt2, 50 * math.Sqrt2},
		"one":           {[]float64{7}, 1, 0, 7, nan, nan},
		"none":          {nil, 0, 0, nan, nan, nan},
		"not finite":    {[]float64{math.Inf(1), 5}, 1, 1, 5, nan, nan},
		"negative mean": {[]float64{-26, -28}, 2, 0, -27, math.Sqrt2, nan},
		"zero mean":     {[]float64{-1, 1}, 2, 0, 0, math.Sqrt2, nan},
		"equal":         {[]float64{0.1, 0.1, 0.1}, 3, 0, 0.1, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			r := Summarise(tt.readings)
			if r.N != tt.n || r.Missing != tt.missing {
				t.Errorf("got %+v", r)
			}
			for what, v := range map[string][2]float64{"mean": {r.Mean, tt.mean}, "SD": {r.SD, tt.sd}, "RSD": {r.RSD, tt.rsd}} {
				if math.IsNaN(v[0]) != math.IsNaN(v[1]) || math.Abs(v[0]-v[1]) > 1e-12 {
					t.Errorf("%s is %v, want %v", what, v[0], v[1])
				}
			}
		})
	}
}

// An offset moves the mean and leaves the spread, however large it is; order counts for nothing that is shown.
func TestSummariseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := rapid.SliceOfN(rapid.Float64Range(-1, 1), 2, 20).Draw(t, "readings")
		offset := float64(rapid.IntRange(-1e6, 1e6).Draw(t, "offset"))
		moved := make([]float64, len(readings))
		for i, v := range readings {
			moved[i] = v + offset
		}
		a, b := Summarise(readings), Summarise(moved)
		if math.Abs(a.SD-b.SD) > 1e-9 || math.Abs(a.Mean+offset-b.Mean) > 1e-9 {
			t.Fatalf("%+v and %+v", a, b)
		}
		slices.Sort(moved)
		if c := Summarise(moved); math.Abs(c.SD-b.SD) > 1e-12 || math.Abs(c.Mean-b.Mean) > 1e-9 {
			t.Fatalf("%+v and %+v", b, c)
		}
	})
}

func TestGrubbsCriticalTable(t *testing.T) {
	rows := parserstest.Reference(t, "grubbs_critical.csv")
	columns := []struct {
		alpha float64
		sides Sides
	}{{0.05, OneSided}, {0.05, TwoSided}, {0.01, TwoSided}, {0.01, OneSided}}
	for _, row := range rows {
		n, err := strconv.Atoi(row[0])
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range columns {
			got, err := GrubbsCritical(n, c.alpha, c.sides)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "column "+strconv.Itoa(i+1)+" for "+row[0], got, number(t, row[i+1]), 2e-6)
		}
		got, err := GrubbsCritical(n, 0.05, TwoSided)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "published two-sided 5 % for "+row[0], got, number(t, row[6]), 0.0011)
	}
}

func TestDixonCriticalTable(t *testing.T) {
	rows := parserstest.Reference(t, "dixon_q.csv")
	for _, row := range rows {
		n, err := strconv.Atoi(row[0])
		if err != nil {
			t.Fatal(err)
		}
		for i, alpha := range []float64{0.10, 0.05, 0.01} {
			got, err := DixonCritical(n, alpha, TwoSided)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "computed "+strconv.Itoa(i)+" for "+row[0], got, number(t, row[4+i]), 0.001)
			near(t, "published "+strconv.Itoa(i)+" for "+row[0], got, number(t, row[1+i]), 0.0055)
		}
	}
	// Half of a two-sided alpha lies at each end.
	one, err := DixonCritical(5, 0.05, OneSided)
	if err != nil {
		t.Fatal(err)
	}
	two, err := DixonCritical(5, 0.10, TwoSided)
	if err != nil || one != two {
		t.Errorf("one-sided 5 %% is %v, two-sided 10 %% is %v, %v", one, two, err)
	}
}

func TestOutliers(t *testing.T) {
	readings := []float64{10.1, 10.2, 9.9, 12.5, 10.0, 10.1}
	g, err := Grubbs(readings, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	r := Summarise(readings)
	near(t, "G", g.Statistic, (12.5-r.Mean)/r.SD, 1e-12)
	q, err := Dixon(readings, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Q", q.Statistic, 2.3/2.6, 1e-12)
	for name, o := range map[string]Outlier{"Grubbs": g, "Dixon": q} {
		if o.Index != 3 || !o.Suspect() || o.Sides != TwoSided || o.Alpha != 0.05 {
			t.Errorf("%s: %+v", name, o)
		}
	}
	low, err := Dixon([]float64{5, 9.1, 9.2, 9.0}, 0.05)
	if err != nil || low.Index != 0 {
		t.Errorf("low end: %+v, %v", low, err)
	}
	if calm, err := Grubbs([]float64{1, 2, 3, 4}, 0.05); err != nil || calm.Suspect() {
		t.Errorf("even readings: %+v, %v", calm, err)
	}
	for name, tt := range map[string]struct {
		readings []float64
		alpha    float64
		kind     error
	}{
		"two": {[]float64{1, 2}, 0.05, ErrUndefined}, "missing": {[]float64{1, nan, 2, 3}, 0.05, ErrMissing},
		"equal": {[]float64{1, 1, 1}, 0.05, ErrUndefined}, "alpha": {[]float64{1, 2, 3}, 0, ErrUndefined}, "NaN alpha": {[]float64{1, 2, 3}, nan, ErrUndefined},
	} {
		if _, err := Grubbs(tt.readings, tt.alpha); !errors.Is(err, tt.kind) {
			t.Errorf("Grubbs, %s: %v", name, err)
		}
		if _, err := Dixon(tt.readings, tt.alpha); !errors.Is(err, tt.kind) {
			t.Errorf("Dixon, %s: %v", name, err)
		}
	}
	if _, err := DixonCritical(13, 0.05, TwoSided); !errors.Is(err, ErrUndefined) {
		t.Errorf("13 readings: %v", err)
	}
	if _, err := GrubbsCritical(5, 0.05, 3); !errors.Is(err, ErrUndefined) {
		t.Errorf("3 sides: %v", err)
	}
}
