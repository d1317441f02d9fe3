package qc_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/method"
)

// spectrum has the ordinate x/1000 at n wavelengths from a start in even steps.
func spectrum(start, step float64, n int) *parsers.Spectrum {
	s := &parsers.Spectrum{
		ID: "S1", XAxis: parsers.Quantity{Name: "wavelength", Unit: "nm", UnitText: "NANOMETERS"},
		YAxis: parsers.Quantity{Name: "absorbance", Unit: "1", UnitText: "ABSORBANCE"},
	}
	for i := range n {
		x := start + step*float64(i)
		s.X, s.Y = append(s.X, x), append(s.Y, x/1000)
	}
	return s
}

func TestReduceSpectrum(t *testing.T) {
	tests := map[string]struct {
		at       float64
		baseline *float64
		change   func(*parsers.Spectrum)
		want     float64
	}{
		"at a point":            {420, nil, nil, 0.42},
		"between points":        {420.25, nil, nil, 0.42025},
		"less a baseline":       {420, ptr(470.5), nil, 0.42 - 0.4705},
		"first point":           {400, nil, nil, 0.4},
		"last point":            {499, nil, nil, 0.499},
		"falling abscissa":      {420.25, nil, reverse, 0.42025},
		"falling, first point":  {499, nil, reverse, 0.499},
		"falling, last point":   {400, nil, reverse, 0.4},
		"neighbour missing":     {420, nil, func(s *parsers.Spectrum) { s.Y[21] = math.NaN() }, 0.42},
		"milliabsorbance":       {420, nil, func(s *parsers.Spectrum) { s.YAxis.Unit = "m{AU}" }, 0.00042},
		"one point":             {420, nil, func(s *parsers.Spectrum) { s.X, s.Y = s.X[20:21], s.Y[20:21] }, 0.42},
		"point across from gap": {440, nil, func(s *parsers.Spectrum) { cut(s, 21, 40) }, 0.44},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := spectrum(400, 1, 100)
			if tt.change != nil {
				tt.change(s)
			}
			red := reduce(t, methodOf(ordinateAt(tt.at, tt.baseline)), s)
			noProblems(t, red)
			p := red.Points[0]
			if p.Value == nil || math.Abs(*p.Value-tt.want) > 1e-15 || p.At != tt.at || p.Unit != "nm" || p.Ordinate != "absorbance" || p.Reason != "" {
				t.Errorf("got %+v, want %v", p, tt.want)
			}
		})
	}
}

func reverse(s *parsers.Spectrum) { slices.Reverse(s.X); slices.Reverse(s.Y) }

func cut(s *parsers.Spectrum, from, till int) {
	s.X, s.Y = slices.Delete(s.X, from, till), slices.Delete(s.Y, from, till)
}

func TestReduceSpectrumWithoutValue(t *testing.T) {
	tests := map[string]struct {
		at       float64
		baseline *float64
		change   func(*parsers.Spectrum)
		words    []string
	}{
		"below the range":        {399.9, nil, nil, []string{"399.9 nm is outside", "from 400 to 499"}},
		"above the range":        {499.1, nil, nil, []string{"outside"}},
		"baseline outside":       {420, ptr(700.0), nil, []string{"baseline: 700 nm is outside"}},
		"point missing":          {420, nil, func(s *parsers.Spectrum) { s.Y[20] = math.NaN() }, []string{"at 420 nm is missing"}},
		"left neighbour missing": {420.5, nil, func(s *parsers.Spectrum) { s.Y[20] = math.NaN() }, []string{"next to 420.5 nm is missing"}},
		"right neighbour missing": {420.5, nil, func(s *parsers.Spectrum) { s.Y[21] = math.Inf(1) },
			[]string{"next to 420.5 nm is missing"}},
		"gap":               {430, nil, func(s *parsers.Spectrum) { cut(s, 21, 40) }, []string{"gap", "from 420 to 440", "typically 1"}},
		"no points":         {420, nil, func(s *parsers.Spectrum) { s.X, s.Y = nil, nil }, []string{"no points"}},
		"turns round":       {420, nil, func(s *parsers.Spectrum) { s.X[50] = 401 }, []string{"not in order at point 51"}},
		"abscissa twice":    {420, nil, func(s *parsers.Spectrum) { s.X[50] = s.X[49] }, []string{"not in order"}},
		"abscissa missing":  {420, nil, func(s *parsers.Spectrum) { s.X[50] = math.NaN() }, []string{"not in order"}},
		"another ordinate":  {420, nil, func(s *parsers.Spectrum) { s.YAxis = parsers.Quantity{Name: "transmittance", Unit: "%"} }, []string{"asks for absorbance", "transmittance in %"}},
		"unnamed ordinate":  {420, nil, func(s *parsers.Spectrum) { s.YAxis = parsers.Quantity{UnitText: "XYZ"} }, []string{"asks for absorbance", `"XYZ"`}},
		"ordinate unknown":  {420, nil, func(s *parsers.Spectrum) { s.YAxis.Unit = "" }, []string{"as a plain number", "ABSORBANCE"}},
		"another axis":      {420, nil, func(s *parsers.Spectrum) { s.XAxis = parsers.Quantity{Name: "wavenumber", Unit: "cm-1"} }, []string{"position in nm", "wavenumber in cm-1"}},
		"another axis unit": {420, nil, func(s *parsers.Spectrum) { s.XAxis.Unit = "um" }, []string{"position in nm", "wavelength in um"}},
		"axis without unit": {420, nil, func(s *parsers.Spectrum) { s.XAxis = parsers.Quantity{} }, []string{"without a unit"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := spectrum(400, 1, 100)
			if tt.change != nil {
				tt.change(s)
			}
			red := reduce(t, methodOf(ordinateAt(tt.at, tt.baseline)), s)
			if p := red.Points[0]; len(red.Points) != 1 || p.Value != nil || p.Reason == "" {
				t.Fatalf("points %+v", red.Points)
			}
			for _, words := range tt.words {
				hasProblem(t, red, qc.ProblemOrdinate, "S1", words)
				if !strings.Contains(red.Points[0].Reason, words) {
					t.Errorf("reason %q, want %q in it", red.Points[0].Reason, words)
				}
			}
		})
	}
	t.Run("no spectrum", func(t *testing.T) {
		red := reduce(t, methodOf(ordinateAt(420, nil)))
		hasProblem(t, red, qc.ProblemOrdinate, "", "no spectrum")
		if len(red.Points) != 1 || red.Points[0].Value != nil {
			t.Errorf("points %+v", red.Points)
		}
	})
	t.Run("two spectra that fit", func(t *testing.T) {
		red := reduce(t, methodOf(ordinateAt(420, nil)), spectrum(400, 1, 100), spectrum(400, 1, 100))
		hasProblem(t, red, qc.ProblemOrdinate, "S1", "2 spectra")
		if red.Points[0].Value != nil {
			t.Errorf("points %+v", red.Points)
		}
	})
	t.Run("a spectrum of another kind beside it", func(t *testing.T) {
		other := spectrum(400, 1, 100)
		other.XAxis = parsers.Quantity{Name: "m/z", Unit: "1"}
		for _, signals := range [][]parsers.Signal{{other, spectrum(400, 1, 100)}, {spectrum(400, 1, 100), other}} {
			red := reduce(t, methodOf(ordinateAt(420, nil)), signals...)
			noProblems(t, red)
			if p := red.Points[0]; p.Value == nil || *p.Value != 0.42 {
				t.Errorf("point %+v", p)
			}
		}
	})
}

// A straight line is interpolated exactly, in either direction and with uneven steps.
func TestInterpolationOfALine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(-1, 1).Draw(t, "a"), rapid.Float64Range(-0.01, 0.01).Draw(t, "b")
		s := spectrum(0, 1, 0)
		x := rapid.Float64Range(200, 300).Draw(t, "first")
		for range rapid.IntRange(5, 60).Draw(t, "points") {
			s.X, s.Y = append(s.X, x), append(s.Y, a+b*x)
			x += rapid.Float64Range(0.8, 1.2).Draw(t, "step")
		}
		at := rapid.Float64Range(s.X[0], s.X[len(s.X)-1]).Draw(t, "at")
		if rapid.Bool().Draw(t, "falling") {
			reverse(s)
		}
		var out *qc.Reduction
		r := qc.NewReducer(qc.NewPlan(methodOf(ordinateAt(at, nil))), func(_ parsers.Header, _ parsers.Trailer, red *qc.Reduction) error {
			out = red
			return nil
		})
		for _, err := range []error{r.Begin(parsers.Header{}), r.Signal(s), r.End(parsers.Trailer{})} {
			if err != nil {
				t.Fatal(err)
			}
		}
		if p := out.Points[0]; p.Value == nil || math.Abs(*p.Value-(a+b*at)) > 1e-13 {
			t.Fatalf("got %+v, want %v", p, a+b*at)
		}
	})
}

// peakTable is a long peak table as a delimited reader gives it.
func peakTable() *parsers.Table {
	number := func(v float64, text string) parsers.Cell { return parsers.Cell{Text: text, Value: &v} }
	return &parsers.Table{
		Columns: []parsers.Column{
			{Name: "Compound", Meaning: "analyte"}, {Name: "CAS No", Meaning: "cas"}, {Name: "RT", Meaning: "retention", Unit: "min"},
			{Name: "Area", Meaning: "area", Unit: "pA*s"}, {Name: "Conc", Meaning: "amount", UnitText: "mg/l"},
			{Name: "Comment", Meaning: "comment"}, {Name: "Run", Meaning: "run"}, {Name: "Other"},
		},
		Rows: []parsers.Row{
			{Line: 12, Cells: []parsers.Cell{{Text: " methanol "}, {Text: "67-56-1"}, number(3.25, "3.25"), number(10.5, "10.50"), number(41, "41"),
				{Text: "ok"}, number(7, "7"), number(1, "1")}},
			{Line: 13, Cells: []parsers.Cell{{Text: "acetal"}, {Text: "", Mark: "empty"}, {Text: "", Mark: "empty"}, {Text: "n.d.", Mark: "not found"}, {Text: "<0.5", Mark: "below"},
				{Text: "", Mark: "empty"}, number(7, "7"), number(1, "1")}},
			{Line: 14, Cells: []parsers.Cell{{Text: "1-propanol"}, {Text: "71-23-8"}, number(5, "5"), number(math.Inf(1), "1e999")}},
		},
	}
}

func TestReduceTable(t *testing.T) {
	red := reduce(t, methodOf(column("area"), column("amount")), peakTable())
	noProblems(t, red)
	want := `[{"cas":"67-56-1","line":12,"name":"methanol","retention_min":3.25,"values":[` +
		`{"meaning":"retention","text":"3.25","unit":"min","value":3.25},{"meaning":"area","text":"10.50","unit":"pA.s","value":10.5},{"meaning":"amount","text":"41","unit":"mg/L","value":41}]},` +
		`{"line":13,"name":"acetal","values":[` +
		`{"mark":"empty","meaning":"retention","text":"","unit":"min","value":null},{"mark":"not found","meaning":"area","text":"n.d.","unit":"pA.s","value":null},{"mark":"below","meaning":"amount","text":"<0.5","unit":"mg/L","value":null}]},` +
		`{"cas":"71-23-8","line":14,"name":"1-propanol","retention_min":5,"values":[` +
		`{"meaning":"retention","text":"5","unit":"min","value":5},{"mark":"not a number","meaning":"area","text":"1e999","unit":"pA.s","value":null}]}]`
	if got := canonical(t, red.Rows); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestReduceTableProblems(t *testing.T) {
	t.Run("no table", func(t *testing.T) {
		hasProblem(t, reduce(t, methodOf(column("area")), spectrum(400, 1, 10)), qc.ProblemColumn, "area", "no table")
	})
	t.Run("no such column", func(t *testing.T) {
		hasProblem(t, reduce(t, methodOf(column("strength"), column("area")), peakTable()), qc.ProblemColumn, "strength", "no column has this meaning")
	})
	for name, unit := range map[string]string{"without unit": "", "of another kind": "nm", "not known": "ticks"} {
		t.Run("retention "+name, func(t *testing.T) {
			table := peakTable()
			table.Columns[2].Unit = unit
			red := reduce(t, methodOf(column("area")), table)
			hasProblem(t, red, qc.ProblemRetention, "RT", "left out")
			if red.Rows[0].Retention != nil {
				t.Errorf("retention %v", *red.Rows[0].Retention)
			}
		})
	}
	t.Run("retention in seconds", func(t *testing.T) {
		table := peakTable()
		table.Columns[2].Unit = "s"
		*table.Rows[0].Cells[2].Value = 195
		if got := reduce(t, methodOf(column("area")), table).Rows[0].Retention; got == nil || *got != 3.25 {
			t.Errorf("retention %v", got)
		}
	})
	t.Run("unit not known is kept as written", func(t *testing.T) {
		table := peakTable()
		table.Columns[3].Unit = "furlongs"
		if got := reduce(t, methodOf(column("area")), table).Rows[0].Values[1].Unit; got != "furlongs" {
			t.Errorf("unit %q", got)
		}
	})
	t.Run("empty table", func(t *testing.T) {
		table := peakTable()
		table.Rows = nil
		red := reduce(t, methodOf(column("area")), table)
		noProblems(t, red)
		if len(red.Rows) != 0 {
			t.Errorf("rows %+v", red.Rows)
		}
	})
}

// A wide table gives several columns of one reading.
func TestReduceWideTable(t *testing.T) {
	v, u := 40.02, 20.0
	table := &parsers.Table{
		Columns: []parsers.Column{{Name: "ABV", Meaning: "strength", Unit: "% vol"}, {Name: "T", Meaning: "temperature", Unit: "°C"}},
		Rows:    []parsers.Row{{Line: 2, Cells: []parsers.Cell{{Text: "40,02", Value: &v}, {Text: "20,0", Value: &u}}}},
	}
	red := reduce(t, methodOf(method.Source{Table: &method.TableSource{Value: "strength"}}), table)
	noProblems(t, red)
	got := red.Rows[0].Values
	if len(got) != 2 || got[0].Unit != "%{vol}" || *got[0].Value != 40.02 || got[1].Unit != "Cel" || got[0].Value == &v {
		t.Errorf("values %+v", got)
	}
}
