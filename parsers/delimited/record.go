package delimited

import (
	"crypto/sha256"
	"hash"
	"strconv"
	"strings"

	"underbond/parsers"
	"underbond/parsers/delimited/rows"
)

// record is the acquisition being read.
type record struct {
	open   bool
	number int            // from 1
	line   int            // where it began
	first  []parsers.Cell // of the row at line
	header parsers.Header
	rows   []parsers.Row // used again for the next acquisition
	digest hash.Hash
	warned []parsers.Problem

	// cells and values are what is left of the chunks that rows are cut from.
	cells  []parsers.Cell
	values []float64
}

const chunk = 1024

// room makes sure that the chunks hold one more row of n cells.
func (r *record) room(n int) {
	if cap(r.cells)-len(r.cells) < n {
		r.cells = make([]parsers.Cell, 0, max(chunk, n))
	}
	if cap(r.values)-len(r.values) < n {
		r.values = make([]float64, 0, max(chunk, n))
	}
}

// add takes a data row.
func (s *session) add(row *rows.Row) error {
	if len(row.Cells) != s.width {
		return parsers.Refuse("delimited-cells", parsers.Place{Line: row.Line, Column: min(len(row.Cells), s.width) + 1, Record: s.record.number},
			"the row has %d cells, the header row %d", len(row.Cells), s.width)
	}
	cells, err := s.cells(row)
	if err != nil {
		return err
	}
	r := &s.record
	if !r.open || s.profile.Shape == shapeWide || !same(s.keyColumns, cells, r.first) {
		if err := s.begin(cells, row); err != nil {
			return err
		}
	} else if !same(s.factColumns, cells, r.first) {
		return s.disagreement(cells, row.Line)
	}
	if len(r.rows) >= s.limits.Points {
		return parsers.Refuse("delimited-limit", parsers.Place{Line: row.Line, Record: r.number}, "the acquisition has more than the limit of %d rows", s.limits.Points)
	}
	r.rows = append(r.rows, parsers.Row{Line: row.Line, Cells: cells})
	r.digest.Write(row.Raw)
	r.digest.Write([]byte{'\n'})
	return nil
}

// cells reads the profile's columns of a row. The texts of a row share one string.
func (s *session) cells(row *rows.Row) ([]parsers.Cell, error) {
	r := &s.record
	r.room(len(s.profile.Columns))
	var b strings.Builder
	b.Grow(len(row.Raw))
	for _, cell := range row.Cells {
		b.Write(cell)
	}
	text, from := b.String(), len(r.cells)
	starts := make([]int, 0, 64)
	at := 0
	for _, cell := range row.Cells {
		starts = append(starts, at)
		at += len(cell)
	}
	for i, spec := range s.profile.Columns {
		k := s.cellOf[i]
		cell := parsers.Cell{Text: text[starts[k] : starts[k]+len(row.Cells[k])]}
		if spec.Type == typeNumber {
			v, mark, err := s.numbers.cell(cell.Text)
			if err != nil {
				return nil, parsers.Refuse("delimited-number", parsers.Place{Line: row.Line, Column: k + 1, Element: spec.Name}, "%v", err)
			}
			if cell.Mark = mark; mark == "" {
				r.values = append(r.values, v)
				cell.Value = &r.values[len(r.values)-1]
			}
		} else if strings.TrimSpace(cell.Text) == "" {
			cell.Mark = MarkEmpty
		}
		r.cells = append(r.cells, cell)
	}
	return r.cells[from:len(r.cells):len(r.cells)], nil
}

// same tells whether two rows agree in some columns.
func same(columns []int, a, b []parsers.Cell) bool {
	for _, i := range columns {
		if a[i].Text != b[i].Text && strings.TrimSpace(a[i].Text) != strings.TrimSpace(b[i].Text) {
			return false
		}
	}
	return true
}

// fact gives the text of a meaning, from the row's columns or the preamble. Columns
// of one meaning (date and time of the start) are joined by a space.
func (s *session) fact(meaning string, cells []parsers.Cell) string {
	text, found := "", false
	for i := range s.profile.Columns {
		if s.profile.Columns[i].Meaning != meaning {
			continue
		}
		if found {
			text += " "
		}
		text += strings.TrimSpace(cells[i].Text)
		found = true
	}
	if !found {
		return s.facts[meaning]
	}
	return strings.TrimSpace(text)
}

// key makes the native key of a row: "run=R31 injection=4".
func (s *session) key(cells []parsers.Cell, line int) (string, error) {
	var b strings.Builder
	for i, meaning := range s.profile.Key {
		text := s.fact(meaning, cells)
		if text == "" {
			return "", parsers.Refuse("delimited-key", parsers.Place{Line: line, Element: meaning}, "%s is empty, and it identifies the acquisition", meaning)
		}
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(keyWord(meaning))
		b.WriteByte('=')
		b.WriteString(keyWord(text))
	}
	return b.String(), nil
}

// keyWord quotes a text that could be mistaken for several words, so that different
// facts never make the same key.
func keyWord(text string) string {
	if strings.ContainsAny(text, " =\"\\\t\r\n") {
		return strconv.Quote(text)
	}
	return text
}

// begin hands over the acquisition before and begins another one.
func (s *session) begin(cells []parsers.Cell, row *rows.Row) error {
	if err := s.flush(); err != nil {
		return err
	}
	key, err := s.key(cells, row.Line)
	if err != nil {
		return err
	}
	r := &s.record
	if key != "" {
		if before, twice := s.seen[key]; twice {
			return parsers.Refuse("delimited-duplicate-key", parsers.Place{Line: row.Line, Record: r.number + 1},
				"the acquisition %s is already at line %d", key, before)
		}
		s.seen[key] = row.Line
	}
	if r.number++; r.number > min(s.limits.Acquisitions, s.limits.Signals) {
		return parsers.Refuse("delimited-limit", parsers.Place{Line: row.Line, Record: r.number}, "more acquisitions than the limit of %d", min(s.limits.Acquisitions, s.limits.Signals))
	}
	r.open, r.line, r.first = true, row.Line, cells
	if r.digest == nil {
		r.digest = sha256.New()
	}
	r.digest.Reset()
	r.digest.Write(s.headSum[:])
	r.header = parsers.Header{
		Record: r.number, NativeKey: key, Format: parsers.FormatDelimited,
		Title: s.fact(MeaningTitle, cells), Sample: s.fact(MeaningSample, cells), Vial: s.fact(MeaningVial, cells),
		Fields: s.fields,
	}
	if text := s.fact(MeaningStart, cells); text != "" {
		r.header.Start = startOf(text, s.layout)
		if r.header.Start.Local == "" {
			r.warned = append(r.warned, parsers.Warn("delimited-start", parsers.Place{Line: row.Line, Record: r.number},
				"the start %q is not a date and time in the form %s", text, s.profile.DateFormat))
		}
	}
	return nil
}

// disagreement refuses a row that says another sample, vial, title or start than the
// acquisition's first row.
func (s *session) disagreement(cells []parsers.Cell, line int) error {
	place := parsers.Place{Line: line, Record: s.record.number}
	for _, i := range s.factColumns {
		if !same([]int{i}, cells, s.record.first) {
			place.Column, place.Element = s.cellOf[i]+1, s.profile.Columns[i].Name
			return parsers.Refuse("delimited-group", place, "the %s is %q, and %q in the acquisition's first row at line %d",
				s.profile.Columns[i].Meaning, cells[i].Text, s.record.first[i].Text, s.record.line)
		}
	}
	return nil
}

// flush hands over the acquisition, if one is open.
func (s *session) flush() error {
	r := &s.record
	if !r.open {
		return nil
	}
	r.open = false
	if err := s.sink.Begin(r.header); err != nil {
		return err
	}
	if err := s.sink.Signal(&parsers.Table{Name: s.profile.Name, Columns: s.columns, Rows: r.rows}); err != nil {
		return err
	}
	trailer := parsers.Trailer{Problems: r.warned}
	r.digest.Sum(trailer.Digest[:0])
	if err := s.sink.End(trailer); err != nil {
		return err
	}
	s.warnings = append(s.warnings, r.warned...)
	r.rows, r.warned = r.rows[:0], nil
	return nil
}
