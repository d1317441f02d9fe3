package qc

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/table"
)

// reading is what an acquisition holds for one source, before any calibration.
type reading struct {
	state  readState
	value  float64 // the response, or the bound of a censored cell
	unit   string
	reason string // in words, unless found
	empty  bool   // nothing is written where the response would be
	// replicates are those that value is the mean of, where the method has replicates.
	replicates *table.Replicates
}

type readState int

const (
	readNothing  readState = iota // there is no saying what the response is
	readFound                     // value is the response
	readNotFound                  // the export or the signal has nothing there
	readBelow                     // the export says below value
	readAbove                     // the export says above value
)

func nothing(format string, args ...any) reading {
	return reading{state: readNothing, reason: fmt.Sprintf(format, args...)}
}

// response gives an analyte's response: as exported, or its ratio to the internal standard.
func (e *evaluator) response(m *entry, analyte int) reading {
	a := &e.method.Analytes[analyte]
	source, why := e.placed(m, a.Source)
	if why != "" {
		return nothing("%s", why)
	}
	r := read(m.Reduction, source, a.CAS)
	if e.method.InternalStandard == nil || r.state == readNothing {
		return r
	}
	is := e.internalResponse(m)
	if is.state != readFound {
		return nothing("internal standard %s: %s", e.method.InternalStandard.Name, is.reason)
	}
	if r.state == readNotFound {
		return r
	}
	if r.unit != is.unit {
		return nothing("the response is in %q and that of the internal standard in %q", r.unit, is.unit)
	}
	r.value, r.unit = r.value/is.value, "" // a ratio carries no unit of an amount
	if math.IsNaN(r.value) || math.IsInf(r.value, 0) {
		return nothing("the ratio to the internal standard is not a number")
	}
	return r
}

// internalResponse is the internal standard's own response; found only when above zero.
func (e *evaluator) internalResponse(m *entry) reading {
	r := read(m.Reduction, e.method.InternalStandard.Source, e.method.InternalStandard.CAS)
	switch {
	case r.state == readFound && !(r.value > 0):
		return nothing("its response is %s", words(r.value))
	case r.state == readNotFound:
		r.reason = "not found"
	case r.state == readBelow || r.state == readAbove:
		return nothing("the export gives no number but a limit")
	}
	return r
}

func read(red *Reduction, source method.Source, cas string) reading {
	var r reading
	switch {
	case source.Table != nil:
		r = readTable(red, source.Table, cas)
	case source.Spectrum != nil:
		r = readSpectrum(red, source.Spectrum)
	case source.Density != nil:
		r = readStrength(red, source.Density)
	default:
		r = readPeak(red, source.Chromatogram)
	}
	if r.state != readNothing && r.state != readNotFound && (math.IsNaN(r.value) || math.IsInf(r.value, 0)) {
		return nothing("the response is not a number")
	}
	return r
}

func readTable(red *Reduction, source *method.TableSource, cas string) reading {
	var rows []*TableRow
	for i := range red.Rows {
		if row := &red.Rows[i]; len(source.Match) == 0 || matches(row, source.Match, cas) {
			rows = append(rows, row)
		}
	}
	switch {
	case len(rows) == 0 && len(source.Match) == 0:
		return nothing("the table has no row")
	case len(rows) == 0:
		return reading{state: readNotFound, reason: "the table has no such row"}
	case len(rows) > 1 && !source.Replicates:
		return nothing("%d rows of the table match (lines %d and %d)", len(rows), rows[0].Line, rows[1].Line)
	}
	var readings []reading
	for _, row := range rows {
		if len(source.Match) > 0 && cas != "" && row.CAS != "" && !sameName(row.CAS, cas) {
			return nothing("line %d is named %s and has the CAS number %s instead of %s", row.Line, row.Name, row.CAS, cas)
		}
		if !source.Replicates {
			return readMeaning(row, source.Value)
		}
		cells := cellsOf(row, source.Value)
		if len(cells) == 0 {
			return nothing("line %d has no cell for %s", row.Line, source.Value)
		}
		for _, c := range cells {
			readings = append(readings, readCell(c, row.Line))
		}
	}
	return meanOf(readings)
}

// readMeaning reads the only cell of a row that has a meaning.
func readMeaning(row *TableRow, meaning string) reading {
	cells := cellsOf(row, meaning)
	if len(cells) != 1 {
		return nothing("line %d has %d cells for %s", row.Line, len(cells), meaning)
	}
	return readCell(cells[0], row.Line)
}

func cellsOf(row *TableRow, meaning string) []*CellValue {
	var cells []*CellValue
	for i := range row.Values {
		if row.Values[i].Meaning == meaning {
			cells = append(cells, &row.Values[i])
		}
	}
	return cells
}

func matches(row *TableRow, names []string, cas string) bool {
	if cas != "" && sameName(row.CAS, cas) {
		return true
	}
	return slices.ContainsFunc(names, func(name string) bool {
		return sameName(row.Name, name) || row.CAS != "" && sameName(row.CAS, name)
	})
}

// readCell reads a cell by its mark. The marks are those of the table readers.
func readCell(c *CellValue, line int) reading {
	switch {
	case c.Mark == "" && c.Value != nil:
		return reading{state: readFound, value: *c.Value, unit: c.Unit}
	case c.Mark == "not found":
		return reading{state: readNotFound, reason: fmt.Sprintf("line %d says %q", line, c.Text)}
	case c.Mark == "below":
		if bound, ok := censorBound(c.Text, math.Max); ok {
			return reading{state: readBelow, value: bound, unit: c.Unit, reason: fmt.Sprintf("line %d says %q", line, c.Text)}
		}
	case c.Mark == "above":
		if bound, ok := censorBound(c.Text, math.Min); ok {
			return reading{state: readAbove, value: bound, unit: c.Unit, reason: fmt.Sprintf("line %d says %q", line, c.Text)}
		}
	}
	why := c.Mark
	if why == "" {
		why = "no number"
	}
	r := nothing("line %d, %s: %s (%q)", line, c.Meaning, why, c.Text)
	r.empty = c.Mark == markEmpty
	return r
}

// censorBound reads the number of a text such as "<0.05" or "> 1,000". Where a mark may
// be the decimal one or group thousands, pick takes the number that claims less.
func censorBound(text string, pick func(a, b float64) float64) (float64, bool) {
	text = strings.TrimLeft(text, "<>≤≥= \t\u00a0")
	text = strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "").Replace(text)
	decimal, grouping := ".", ","
	if strings.LastIndex(text, ",") > strings.LastIndex(text, ".") {
		decimal, grouping = ",", "."
	}
	plain := strings.ReplaceAll(text, grouping, "")
	whole, fraction, _ := strings.Cut(plain, decimal)
	bound, err := strconv.ParseFloat(strings.Replace(plain, decimal, ".", 1), 64)
	if err != nil || math.IsNaN(bound) || math.IsInf(bound, 0) {
		return 0, false
	}
	onlyMark := !strings.Contains(text, grouping)
	if onlyMark && len(fraction) == 3 && len(whole) <= 3 && !strings.HasPrefix(whole, "0") {
		bound = pick(bound, bound*1000)
	}
	return bound, true
}

func readSpectrum(red *Reduction, source *method.SpectrumSource) reading {
	for i := range red.Points {
		p := &red.Points[i]
		if compareOrdinates(p.SpectrumSource, *source) != 0 {
			continue
		}
		if p.Value == nil {
			return nothing("no %s: %s", figureWords(source), p.Reason)
		}
		return reading{state: readFound, value: *p.Value}
	}
	return nothing("the spectrum has no %s", figureWords(source))
}

// proven tells whether an acquisition shows that it would have seen the analyte: its
// internal standard, a chromatogram that spans the retention window, or another
// analyte in the same table. Without proof nothing found means nothing.
func (e *evaluator) proven(m *entry, analyte int) bool {
	if e.method.InternalStandard != nil && e.internalResponse(m).state != readFound {
		return false
	}
	a := &e.method.Analytes[analyte]
	if a.Source.Chromatogram != nil {
		placed, why := e.placed(m, a.Source)
		if why != "" {
			return false
		}
		source := placed.Chromatogram
		trace, _ := selectTrace(m.Reduction, source.Trace, source.Integration)
		return trace != nil && trace.Points > 0 && trace.FirstMin != nil && trace.LastMin != nil &&
			rule.AtMost(*trace.FirstMin, source.Retention-source.Window) && rule.AtLeast(*trace.LastMin, source.Retention+source.Window)
	}
	if e.method.InternalStandard != nil {
		return true
	}
	for i := range e.method.Analytes {
		other := &e.method.Analytes[i]
		if i != analyte && other.Source.Table != nil && read(m.Reduction, other.Source, other.CAS).state == readFound {
			return true
		}
	}
	return false
}
