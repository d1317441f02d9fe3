package delimited

import (
	"bytes"
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

	replicates map[replicate]int // to the line where it is

	// cells and values are what is left of the chunks that rows are cut from, and texts
	// is the chunk of their texts.
	cells  []parsers.Cell
	values []float64
	texts  strings.Builder
}

// replicate is one reading of an analyte within an acquisition.
type replicate struct{ analyte, number string }

const (
	chunk     = 1024
	textChunk = 16 << 10
)

// room makes sure that the chunks hold one more row of n cells and size bytes.
func (r *record) room(n, size int) {
	if cap(r.cells)-len(r.cells) < n {
		r.cells = make([]parsers.Cell, 0, max(chunk, n))
	}
	if cap(r.values)-len(r.values) < n {
		r.values = make([]float64, 0, max(chunk, n))
	}
	if r.texts.Cap()-r.texts.Len() < size {
		r.texts = strings.Builder{}
		r.texts.Grow(max(textChunk, size))
	}
}

// sized refuses a row that is too short or too long.
func (s *session) sized(row *rows.Row) error {
	if s.width == 0 { // no header row says it: the first row does
		if s.width = len(row.Cells); s.width > s.limits.Attributes {
			return parsers.Refuse("delimited-limit", parsers.Place{Line: row.Line}, "the first row has %d cells, more than the limit of %d", s.width, s.limits.Attributes)
		}
		for i, k := range s.cellOf {
			if k >= s.width {
				return parsers.Refuse("delimited-cells", parsers.Place{Line: row.Line, Column: s.width + 1, Element: s.columns[i].Name}, "the row has %d cells, and column %q is number %d", s.width, s.columns[i].Name, k+1)
			}
		}
	}
	if len(row.Cells) == s.width {
		return nil
	}
	than := "the header row"
	if s.profile.Header == headerNone {
		than = "a row of the profile"
		if s.profile.OtherColumns == otherIgnore {
			than = "the first row"
		}
	}
	return parsers.Refuse("delimited-cells", parsers.Place{Line: row.Line, Column: min(len(row.Cells), s.width) + 1, Record: s.record.number},
		"the row has %d cells, %s %d", len(row.Cells), than, s.width)
}

// add takes a data row.
func (s *session) add(row *rows.Row) error {
	if err := s.sized(row); err != nil {
		return err
	}
	r := &s.record
	if r.open && (s.profile.Shape == shapeWide || !s.continues(row)) {
		if err := s.flush(); err != nil {
			return err
		}
		// What the sink was given may be used again; texts may not.
		r.cells, r.values = r.cells[:0], r.values[:0]
	}
	cells, err := s.cells(row)
	if err != nil {
		return err
	}
	if !r.open {
		if err := s.begin(cells, row); err != nil {
			return err
		}
	} else if !same(s.factColumns, cells, r.first) {
		return s.disagreement(cells, row.Line)
	}
	if s.replicate >= 0 {
		if err := s.counted(cells, row.Line); err != nil {
			return err
		}
	}
	if len(r.rows) >= s.limits.Points {
		return parsers.Refuse("delimited-limit", parsers.Place{Line: row.Line, Record: r.number}, "the acquisition has more than the limit of %d rows", s.limits.Points)
	}
	r.rows = append(r.rows, parsers.Row{Line: row.Line, Cells: cells})
	r.digest.Write(row.Raw)
	r.digest.Write(lineFeed)
	return nil
}

var lineFeed = []byte{'\n'}

// continues tells whether a row has the key of the acquisition being read.
func (s *session) continues(row *rows.Row) bool {
	for _, i := range s.keyColumns {
		if text := row.Cells[s.cellOf[i]]; string(text) != s.record.first[i].Text && string(bytes.TrimSpace(text)) != strings.TrimSpace(s.record.first[i].Text) {
			return false
		}
	}
	return true
}

// counted refuses a replicate without a number and one that comes twice.
func (s *session) counted(cells []parsers.Cell, line int) error {
	r := &s.record
	one := replicate{number: strings.TrimSpace(cells[s.replicate].Text)}
	if s.analyte >= 0 {
		one.analyte = strings.TrimSpace(cells[s.analyte].Text)
	}
	place := parsers.Place{Line: line, Column: s.cellOf[s.replicate] + 1, Record: r.number, Element: s.columns[s.replicate].Name}
	if one.number == "" {
		return parsers.Refuse("delimited-replicate", place, "the replicate has no number")
	}
	if before, twice := r.replicates[one]; twice {
		return parsers.Refuse("delimited-replicate", place, "replicate %s%s of the acquisition is already at line %d", one.number, of(one.analyte), before)
	}
	r.replicates[one] = line
	return nil
}

func of(analyte string) string {
	if analyte == "" {
		return ""
	}
	return " of " + analyte
}

// cells reads the profile's columns of a row. The texts of many rows share one string.
func (s *session) cells(row *rows.Row) ([]parsers.Cell, error) {
	r := &s.record
	r.room(len(s.cellOf), len(row.Raw))
	first, from := len(r.cells), r.texts.Len()
	s.starts = s.starts[:0]
	gap := 0
	if row.Plain {
		r.texts.Write(row.Raw)
		gap = 1 // the delimiter
	}
	at := 0
	for _, cell := range row.Cells {
		if !row.Plain {
			r.texts.Write(cell)
		}
		s.starts = append(s.starts, at)
		at += len(cell) + gap
	}
	text := r.texts.String()[from:]
	for i, k := range s.cellOf {
		cell := parsers.Cell{Text: text[s.starts[k] : s.starts[k]+len(row.Cells[k])]}
		if s.numeric[i] {
			v, mark, err := s.numbers.cell(cell.Text)
			if err != nil {
				return nil, parsers.Refuse("delimited-number", parsers.Place{Line: row.Line, Column: k + 1, Element: s.columns[i].Name}, "%v", err)
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
	return r.cells[first:len(r.cells):len(r.cells)], nil
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
	columns := s.columnsOf[meaning]
	switch len(columns) {
	case 0:
		return s.facts[meaning]
	case 1:
		return strings.TrimSpace(cells[columns[0]].Text)
	}
	texts := make([]string, len(columns))
	for i, k := range columns {
		texts[i] = strings.TrimSpace(cells[k].Text)
	}
	return strings.TrimSpace(strings.Join(texts, " "))
}

// offset gives what the start's clock is ahead of UTC, as the export or the profile
// writes it; "" when neither does.
func (s *session) offset(cells []parsers.Cell) string {
	if text := s.fact(MeaningOffset, cells); text != "" {
		return text
	}
	return s.profile.UTCOffset
}

// key makes the native key of a row: "run=R31 injection=4".
func (s *session) key(cells []parsers.Cell, line int) (string, error) {
	var b strings.Builder
	b.Grow(64)
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
	for i := range len(text) {
		switch text[i] {
		case ' ', '=', '"', '\\', '\t', '\r', '\n':
			return strconv.Quote(text)
		}
	}
	return text
}

// begin begins another acquisition.
func (s *session) begin(cells []parsers.Cell, row *rows.Row) error {
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
	if s.replicate >= 0 && r.replicates == nil {
		r.replicates = map[replicate]int{}
	}
	clear(r.replicates)
	r.digest.Reset()
	r.digest.Write(s.headSum[:])
	r.header = parsers.Header{
		Record: r.number, NativeKey: key, Format: parsers.FormatDelimited,
		Title: s.fact(MeaningTitle, cells), Sample: s.fact(MeaningSample, cells), Vial: s.fact(MeaningVial, cells),
		Fields: s.fields,
	}
	if text := s.fact(MeaningStart, cells); text != "" {
		r.header.Start = startOf(text, s.offset(cells), s.layout)
		if r.header.Start.Local == "" {
			r.warned = append(r.warned, parsers.Warn("delimited-start", parsers.Place{Line: row.Line, Record: r.number},
				"the start %q is not a date and time in the form %s", r.header.Start.Text, s.profile.DateFormat))
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
