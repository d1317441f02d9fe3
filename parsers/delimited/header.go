package delimited

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"slices"
	"strings"

	"underbond/parsers"
	"underbond/parsers/delimited/rows"
	"underbond/parsers/ucum"
)

// maxPreamble bounds the bytes before the header row.
const maxPreamble = 1 << 20

// head reads up to the header row.
func (s *session) head() error {
	s.facts = map[string]string{}
	s.headDigest = sha256.New()
	names := map[string]int{}
	if s.profile.Header == headerNone {
		return s.unnamed(names)
	}
	nearest := nearestHeader{}
	size := 0
	for {
		row, err := s.next()
		if err == io.EOF {
			return nearest.refusal(s.reader, s.scanner.Line())
		}
		if err != nil {
			return err
		}
		if size += len(row.Raw); size > maxPreamble {
			return nearest.refusal(s.reader, row.Line)
		}
		missing := s.missing(row.Cells)
		if len(missing) == 0 {
			if err := s.header(row); err != nil {
				return err
			}
			s.headDigest.Sum(s.headSum[:0])
			return s.complete(row.Line)
		}
		nearest.see(row, missing, len(s.profile.Columns))
		// A row with half of the names is a header row with a fault, not a preamble line.
		if s.profile.Preamble == nil || 2*(len(s.profile.Columns)-len(missing)) >= len(s.profile.Columns) {
			return nearest.refusal(s.reader, row.Line)
		}
		if err := s.preambleLine(row, names); err != nil {
			return err
		}
	}
}

// missing lists the profile's columns that a row, were it the header row, lacks.
func (r *reader) missing(cells [][]byte) []string {
	var missing []string
	for _, col := range r.profile.Columns {
		if !slices.ContainsFunc(cells, func(cell []byte) bool { return string(bytes.TrimSpace(cell)) == col.Name }) {
			missing = append(missing, col.Name)
		}
	}
	return missing
}

// nearestHeader remembers the row that looked most like the header row.
type nearestHeader struct {
	line, found int
	missing     []string
}

func (n *nearestHeader) see(row *rows.Row, missing []string, columns int) {
	if found := columns - len(missing); found > n.found {
		n.line, n.found, n.missing = row.Line, found, missing
	}
}

func (n *nearestHeader) refusal(r *reader, line int) error {
	if n.found == 0 {
		var names []string
		for _, col := range r.profile.Columns {
			names = append(names, col.Name)
		}
		return parsers.Refuse("delimited-header", parsers.Place{Line: line}, "no header row of profile %s was found: no row has any of the columns %s", r.profile.Name, quoted(names))
	}
	return parsers.Refuse("delimited-header", parsers.Place{Line: n.line}, "the header row of profile %s lacks %s", r.profile.Name, quoted(n.missing))
}

// header takes the header row.
func (s *session) header(row *rows.Row) error {
	p := s.profile
	s.width = len(row.Cells)
	if s.width > s.limits.Attributes {
		return parsers.Refuse("delimited-limit", parsers.Place{Line: row.Line}, "the header row has %d columns, more than the limit of %d", s.width, s.limits.Attributes)
	}
	names := make([]string, s.width)
	for i, cell := range row.Cells {
		names[i] = string(bytes.TrimSpace(cell))
	}
	for i, name := range names {
		described := slices.ContainsFunc(p.Columns, func(col ColumnSpec) bool { return col.Name == name })
		place := parsers.Place{Line: row.Line, Column: i + 1, Element: name}
		switch {
		case described && slices.Index(names, name) < i:
			return parsers.Refuse("delimited-header", place, "column %q is there twice", name)
		case !described && p.OtherColumns != otherIgnore:
			return parsers.Refuse("delimited-header", place, "column %q is not described in profile %s", name, p.Name)
		}
	}
	if p.HeaderRow != nil && !slices.Equal(names, p.HeaderRow) {
		i := 0
		for i < len(names) && i < len(p.HeaderRow) && names[i] == p.HeaderRow[i] {
			i++
		}
		return parsers.Refuse("delimited-header", parsers.Place{Line: row.Line, Column: i + 1}, "the header row is %s, and the profile's is %s", quoted(names), quoted(p.HeaderRow))
	}
	s.describe(func(col *ColumnSpec) int { return slices.Index(names, col.Name) })
	s.headDigest.Write(row.Raw)
	return nil
}

// describe settles where each column of the profile is.
func (s *session) describe(cellOf func(col *ColumnSpec) int) {
	p := s.profile
	s.columnsOf = map[string][]int{}
	for i := range p.Columns {
		col := &p.Columns[i]
		s.columnsOf[col.Meaning] = append(s.columnsOf[col.Meaning], i)
		switch {
		case slices.Contains(p.Key, col.Meaning):
			s.keyColumns = append(s.keyColumns, i)
		case slices.Contains(headerMeanings, col.Meaning):
			s.factColumns = append(s.factColumns, i)
		}
		switch col.Meaning {
		case MeaningAnalyte:
			s.analyte = i
		case MeaningReplicate:
			s.replicate = i
		}
		s.cellOf = append(s.cellOf, cellOf(col))
		s.numeric = append(s.numeric, col.Type == typeNumber)
		s.columns = append(s.columns, parsers.Column{Name: col.Name, Meaning: col.Meaning, Unit: ucum.Code(col.Unit), UnitText: col.Unit})
	}
}

// unnamed reads up to the first row of an export without a header row.
func (s *session) unnamed(names map[string]int) error {
	p := s.profile
	if pre := p.Preamble; pre != nil {
		for n := range pre.LineCount {
			row, err := s.next()
			if err == io.EOF {
				return parsers.Refuse("delimited-preamble", parsers.Place{Line: s.scanner.Line()}, "profile %s has %d lines before the first row, and there are only %d", p.Name, pre.LineCount, n)
			}
			if err != nil {
				return err
			}
			if len(row.Raw) > maxPreamble {
				return parsers.Refuse("delimited-preamble", parsers.Place{Line: row.Line}, "a preamble line is longer than %d bytes", maxPreamble)
			}
			if err := s.preambleLine(row, names); err != nil {
				return err
			}
		}
	}
	if p.OtherColumns != otherIgnore {
		s.width = len(p.Columns)
	}
	s.describe(func(col *ColumnSpec) int { return col.Number - 1 })
	s.headDigest.Sum(s.headSum[:0])
	return s.complete(s.scanner.Line())
}

// preambleLine takes a line before the header row.
func (s *session) preambleLine(row *rows.Row, names map[string]int) error {
	pre := s.profile.Preamble
	name, value := s.cutPreamble(row)
	place := parsers.Place{Line: row.Line, Element: name}
	if before, twice := names[name]; twice && name != "" {
		return parsers.Refuse("delimited-preamble", place, "preamble line %q is there twice, first at line %d", name, before)
	}
	names[name] = row.Line
	i := slices.IndexFunc(pre.Lines, func(f PreambleField) bool { return f.Name == name })
	if i < 0 {
		if pre.Other == preambleRefuse {
			return parsers.Refuse("delimited-preamble", place, "the line %q is neither the header row nor a preamble line of profile %s", row.Raw, s.profile.Name)
		}
		s.keep(name, value, row)
		return nil
	}
	if pre.Lines[i].Volatile {
		return nil
	}
	s.keep(name, value, row)
	if meaning := pre.Lines[i].Meaning; meaning != "" {
		s.facts[meaning] = strings.TrimSpace(s.facts[meaning] + " " + value)
	}
	return nil
}

func (s *session) keep(name, value string, row *rows.Row) {
	s.fields = append(s.fields, parsers.Field{Name: name, Text: value})
	s.headDigest.Write(row.Raw)
	s.headDigest.Write([]byte{'\n'})
}

// cutPreamble cuts a line at the separator. A line without one is a value without a name.
func (s *session) cutPreamble(row *rows.Row) (name, value string) {
	p := s.profile
	cells := row.Cells
	for len(cells) > 1 && len(bytes.TrimSpace(cells[len(cells)-1])) == 0 {
		cells = cells[:len(cells)-1]
	}
	text := strings.TrimRight(string(row.Raw), " "+p.Delimiter)
	switch {
	case p.Preamble.Separator == p.Delimiter && len(cells) == 2:
		return string(bytes.TrimSpace(cells[0])), string(bytes.TrimSpace(cells[1]))
	case len(cells) == 1:
		text = string(cells[0])
	}
	name, value, ok := strings.Cut(text, p.Preamble.Separator)
	if !ok {
		return "", strings.TrimSpace(text)
	}
	return strings.TrimSpace(name), strings.TrimSpace(value)
}

// complete refuses a preamble that lacks a required line.
func (s *session) complete(line int) error {
	pre := s.profile.Preamble
	if pre == nil {
		return nil
	}
	for _, f := range pre.Lines {
		if f.Required && !slices.ContainsFunc(s.fields, func(have parsers.Field) bool { return have.Name == f.Name && have.Text != "" }) {
			return parsers.Refuse("delimited-preamble", parsers.Place{Line: line, Element: f.Name}, "preamble line %q is missing or empty", f.Name)
		}
	}
	return nil
}

func quoted(names []string) string {
	list := make([]string, len(names))
	for i, name := range names {
		list[i] = fmt.Sprintf("%q", name)
	}
	return strings.Join(list, ", ")
}
