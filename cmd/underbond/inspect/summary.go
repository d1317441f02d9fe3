package inspect

import (
	"math"
	"slices"
	"strings"

	"underbond/parsers"
)

// extent is what a summary says of a signal's ordinates. Missing ordinates (NaN) are
// left out; without points the sum is 0, with missing ones alone there is no sum.
type extent struct {
	sum, low, high Value
	highAt         int // index of the first greatest one; -1 without any
}

func extentOf(y []float64) extent {
	e := extent{sum: Missing(), low: Missing(), high: Missing(), highAt: -1}
	sum := 0.0
	for i, v := range y {
		if math.IsNaN(v) {
			continue
		}
		if e.highAt < 0 {
			e.low, e.high, e.highAt = Value(v), Value(v), i
		}
		if v < float64(e.low) {
			e.low = Value(v)
		}
		if v > float64(e.high) {
			e.high, e.highAt = Value(v), i
		}
		sum += v
	}
	if e.highAt >= 0 || len(y) == 0 {
		e.sum = Value(sum)
	}
	return e
}

func valueAt(x []float64, i int) Value {
	if i < 0 || i >= len(x) {
		return Missing()
	}
	return Value(x[i])
}

func pairAt(x, y []float64, i int) Pair {
	if i < 0 || i >= len(x) {
		return Pair{}
	}
	return Pair{Value(x[i]), Value(y[i]), true}
}

// points copies the points: a reader uses its slices again.
func points(x, y []float64) *Points { return &Points{slices.Clone(x), slices.Clone(y)} }

func unitsOf(x, y parsers.Quantity) Units {
	return Units{Text(x.Unit), Text(x.UnitText), Text(y.Unit), Text(y.UnitText)}
}

// tableOfSpectrum summarises a spectrum that its format writes as a table.
func tableOfSpectrum(s *parsers.Spectrum, keep bool) Table {
	e, n := extentOf(s.Y), len(s.X)
	t := Table{Index: s.Index, ID: Text(s.ID), DataType: Text(s.Kind), Units: unitsOf(s.XAxis, s.YAxis), Points: &n,
		First: pairAt(s.X, s.Y, 0), Last: pairAt(s.X, s.Y, n-1), SumY: e.sum, MinY: e.low, MaxY: e.high,
		Columns: []parsers.Column{}, Metadata: fields(s.Fields), Lost: s.Lost}
	t.Label, t.Form = labelAndForm(s.Table)
	if keep {
		t.XY = points(s.X, s.Y)
	}
	return t
}

// tableOfRows describes a table of rows.
func tableOfRows(index int, s *parsers.Table, keep bool) Table {
	n := len(s.Rows)
	t := Table{Index: index, SumY: Missing(), MinY: Missing(), MaxY: Missing(), Rows: &n,
		Columns: append([]parsers.Column{}, s.Columns...), Metadata: []parsers.Field{}}
	t.Label, t.Form = labelAndForm(s.Name)
	if keep {
		t.Cells = make([][]Cell, n)
		for i, row := range s.Rows {
			for _, c := range row.Cells {
				cell := Cell{Text: strings.TrimSpace(c.Text)}
				if c.Value != nil {
					v := *c.Value
					cell.Number = &v
				}
				t.Cells[i] = append(t.Cells[i], cell)
			}
		}
	}
	return t
}

// labelAndForm parts "XYDATA (X++(Y..Y))" into label and variable list.
func labelAndForm(name string) (Text, string) {
	if i := strings.IndexByte(name, '('); i >= 0 {
		return Text(strings.TrimSpace(name[:i])), name[i:]
	}
	return Text(name), "table"
}

func spectrum(s *parsers.Spectrum, keep bool) Spectrum {
	e := extentOf(s.Y)
	out := Spectrum{Index: s.Index, ID: Text(s.ID), Kind: Text(s.Kind), MSLevel: Count(s.MSLevel), Polarity: Text(s.Polarity), Mode: Text(s.Representation),
		ScanTime: Value(s.ScanTime), Units: unitsOf(s.XAxis, s.YAxis), Points: len(s.X), First: valueAt(s.X, 0), Last: valueAt(s.X, len(s.X)-1),
		Sum: e.sum, BaseAt: valueAt(s.X, e.highAt), BaseIntensity: e.high, Lost: s.Lost}
	if keep {
		out.XY = points(s.X, s.Y)
	}
	return out
}

func chromatogram(c *parsers.Chromatogram, keep bool) Chromatogram {
	e := extentOf(c.Value)
	out := Chromatogram{Index: c.Index, ID: Text(c.ID), Kind: Text(c.Kind), Precursor: Value(c.Precursor), Product: Value(c.Product), Wavelength: Value(c.Wavelength),
		Units: unitsOf(c.TimeAxis, c.ValueAxis), Points: len(c.Time), First: Missing(), Last: Missing(), Sum: e.sum, Max: e.high, MaxAt: Missing(), Lost: c.Lost}
	if c.TimeAxis.Unit == "s" {
		out.First, out.Last, out.MaxAt = valueAt(c.Time, 0), valueAt(c.Time, len(c.Time)-1), valueAt(c.Time, e.highAt)
	}
	if keep {
		out.XY = points(c.Time, c.Value)
	}
	return out
}

func fields(list []parsers.Field) []parsers.Field { return append([]parsers.Field{}, list...) }
