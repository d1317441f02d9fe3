package qc

import (
	"strings"

	"underbond/parsers"
	"underbond/qc/unit"
)

// Column meanings that name a row.
const (
	meaningAnalyte   = "analyte"
	meaningCAS       = "cas"
	meaningRetention = "retention"
)

// headerMeanings say what the acquisition is, not what was measured.
var headerMeanings = map[string]bool{
	"run": true, "injection": true, "vial": true, "sample": true, "title": true, "start": true,
}

// markNotANumber marks a cell whose value is not finite.
const markNotANumber = "not a number"

// markEmpty marks a cell without text, as the table readers do.
const markEmpty = "empty"

// column is a table column on its way into a reduction.
type column struct {
	parsers.Column
	at      int
	unit    string // UCUM where known, else as written
	numeric bool
}

// table keeps the rows of a table.
func (r *Reducer) table(t *parsers.Table) {
	r.tables++
	columns := make([]column, len(t.Columns))
	for i, c := range t.Columns {
		columns[i] = column{Column: c, at: i, unit: columnUnit(c), numeric: isNumeric(t, i)}
		r.columns[c.Meaning] = true
	}
	minutes := r.minutesOf(columns)
	for _, row := range t.Rows {
		out := TableRow{Line: row.Line, Values: []CellValue{}}
		for i := range columns {
			c := &columns[i]
			if c.at >= len(row.Cells) {
				continue
			}
			cell := row.Cells[c.at]
			switch c.Meaning {
			case meaningAnalyte:
				out.Name = strings.Clone(strings.TrimSpace(cell.Text))
				continue
			case meaningCAS:
				out.CAS = strings.Clone(strings.TrimSpace(cell.Text))
				continue
			case meaningRetention:
				if cell.Value != nil && minutes != nil {
					out.Retention = minutes(*cell.Value)
				}
			}
			if c.numeric {
				out.Values = append(out.Values, cellValue(c, cell))
			}
		}
		r.reduction.Rows = append(r.reduction.Rows, out)
	}
}

// isNumeric tells whether a column with a meaning of its own holds numbers: every cell
// has a value or a mark that says why not.
func isNumeric(t *parsers.Table, column int) bool {
	meaning := t.Columns[column].Meaning
	if meaning == "" || headerMeanings[meaning] || meaning == meaningAnalyte || meaning == meaningCAS {
		return false
	}
	for _, row := range t.Rows {
		if column < len(row.Cells) && row.Cells[column].Value == nil && row.Cells[column].Mark == "" {
			return false
		}
	}
	return true
}

func cellValue(c *column, cell parsers.Cell) CellValue {
	v := CellValue{Meaning: c.Meaning, Unit: c.unit, Text: strings.Clone(cell.Text), Mark: cell.Mark}
	if cell.Value != nil {
		if v.Value = given(*cell.Value); v.Value == nil {
			v.Mark = markNotANumber
		}
	}
	return v
}

// columnUnit gives a column's unit as a UCUM code, or as written when it is not known.
func columnUnit(c parsers.Column) string {
	for _, text := range []string{c.Unit, c.UnitText} {
		if text == "" {
			continue
		}
		if u, err := unit.Parse(text); err == nil {
			return u.UCUM
		}
		return text
	}
	return ""
}

// minutesOf gives the conversion of the retention column to minutes; nil, with a
// problem, when its unit is none of time, and nil when there is no such column.
func (r *Reducer) minutesOf(columns []column) func(float64) *float64 {
	for _, c := range columns {
		if c.Meaning != meaningRetention {
			continue
		}
		if _, err := unit.Convert(0, c.unit, "min"); err != nil {
			r.problem(ProblemRetention, c.Name, "the retention times are left out: %v", err)
			return nil
		}
		return func(v float64) *float64 {
			m, err := unit.Convert(v, c.unit, "min")
			if err != nil {
				return nil // not finite
			}
			return &m
		}
	}
	return nil
}

// endColumns reports the columns wanted that no table has.
func (r *Reducer) endColumns() {
	for _, meaning := range r.plan.Columns {
		switch {
		case r.tables == 0:
			r.problem(ProblemColumn, meaning, "the method takes %q from a table, and the acquisition has no table", meaning)
		case !r.columns[meaning]:
			r.problem(ProblemColumn, meaning, "the method takes %q from a table, and no column has this meaning", meaning)
		}
	}
}
