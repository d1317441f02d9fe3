package propose

import (
	"fmt"
	"slices"

	"underbond/parsers/delimited"
)

// What the cells of a column are.
const (
	kindText   = "text"
	kindNumber = "number"
	kindDate   = "date"
	kindTime   = "time of day"
	kindEmpty  = "empty"
)

// value is a cell in which something is written.
type value struct {
	text string
	file string
	line int
}

// column is a column over all files.
type column struct {
	name   string
	values []value
	kind   string
	odd    []value // cells of a number column that are no numbers
}

// gather collects the cells by column.
func (m *maker) gather() {
	first := m.sheets[0]
	if first.header != nil {
		m.decide("header", "line %d of %s names the columns", first.header.number, first.base())
		if first.maybe {
			m.ask("header", "no cell is a number or a date, so line %d may be data as well: write row or none", first.header.number)
			m.Profile.Header = open
		}
	} else {
		m.Profile.Header = "none"
		m.decide("header", "the first row, line %d of %s, has data already; the names of the columns are made up", first.rows[0].number, first.base())
	}
	for i := range first.width {
		c := &column{name: fmt.Sprintf("column %d", i+1)}
		if first.header != nil {
			c.name = first.header.cells[i]
		}
		for _, s := range m.sheets {
			for _, l := range s.rows {
				if text := l.cells[i]; text != "" {
					c.values = append(c.values, value{text, s.file, l.number})
				}
			}
		}
		c.judge()
		m.columns = append(m.columns, c)
	}
}

// judge says what the cells are. A column of numbers may have some words among them.
func (c *column) judge() {
	numbers, dates, times := 0, 0, 0
	for _, v := range c.values {
		switch {
		case dateLike.MatchString(v.text):
			dates++
		case timeLike.MatchString(v.text):
			times++
		case isNumber(v.text):
			numbers++
		default:
			c.odd = append(c.odd, v)
		}
	}
	words, unknown := map[string]bool{}, 0
	for _, v := range c.odd {
		if said(v.text) == "" {
			words[v.text] = true
			unknown++
		}
	}
	n := len(c.values)
	switch {
	case n == 0:
		c.kind = kindEmpty
	case dates == n:
		c.kind = kindDate
	case times == n:
		c.kind = kindTime
	case numbers > 0 && dates+times == 0 && (numbers >= unknown || len(words) <= 3):
		c.kind = kindNumber
	default:
		c.kind = kindText
	}
}

// describe proposes name, unit, meaning and type of each column.
func (m *maker) describe() {
	p := &m.Profile
	taken := map[string]int{}
	for i, c := range m.columns {
		key := fmt.Sprintf("columns[%d]", i)
		spec := delimited.ColumnSpec{Name: c.name, Type: kindText}
		if p.Header == "none" {
			spec.Number = i + 1
		}
		rest, unit, note := cutUnit(c.name)
		if p.Header != "none" {
			spec.Meaning = guess(rest, unit)
		}
		if spec.Meaning == delimited.MeaningOffset && slices.ContainsFunc(c.values, func(v value) bool { return !delimited.FitsOffset(v.text) }) {
			m.decide(key, "the cells are no offsets from UTC, such as %s", some([]string{c.values[0].text}))
			spec.Meaning = ""
		}
		if (spec.Meaning == delimited.MeaningStart) != (c.kind == kindDate || c.kind == kindTime) && isStart(spec.Meaning) {
			m.notStart(key, c, &spec)
		}
		if c.kind == kindNumber && !slices.Contains(textMeanings, spec.Meaning) && spec.Meaning != delimited.MeaningStart {
			spec.Type = kindNumber
		}
		m.unit(key, &spec, unit, note)
		if other, twice := taken[spec.Meaning]; twice && spec.Meaning != "" && spec.Meaning != open && spec.Meaning != delimited.MeaningStart {
			if spec.Meaning == guess(rest, unit) && spec.Type == kindNumber && element.MatchString(rest) {
				spec.Meaning += " (" + rest + ")"
				m.decide(key, "the meaning carries the name, because column %q is of the same element", m.columns[other].name)
			} else {
				m.ask(key, "the name says %q, as that of column %q does: give one of them another meaning", spec.Meaning, m.columns[other].name)
				spec.Meaning = open
			}
		}
		taken[spec.Meaning] = i
		if c.kind == kindText && slices.Contains(numeric, spec.Meaning) {
			m.ask(key, "the name says numbers, and most cells are none, such as %s: write number or text", some(texts(c.odd)))
			spec.Type = open
		}
		if c.kind == kindEmpty && !slices.Contains(textMeanings, spec.Meaning) {
			m.ask(key, "all cells are empty: write number or text")
			spec.Type = open
		}
		p.Columns = append(p.Columns, spec)
	}
}

// notStart speaks of a date whose name does not say start, and of the reverse.
func (m *maker) notStart(key string, c *column, spec *delimited.ColumnSpec) {
	switch {
	case c.kind == kindDate || c.kind == kindTime:
		m.decide(key, "a %s, such as %q; the name does not say that it is the start", c.kind, c.values[0].text)
	case spec.Meaning == delimited.MeaningStart && len(c.values) > 0:
		m.ask(key, "the name says a date or time, and the cells are others, such as %s", some([]string{c.values[0].text}))
		spec.Meaning = open
	default:
		spec.Meaning = ""
	}
}

func (m *maker) unit(key string, spec *delimited.ColumnSpec, unit, note string) {
	if note != "" {
		m.decide(key, "%q in brackets is no unit that is known", note)
	}
	if spec.Type != kindNumber {
		return
	}
	if spec.Unit = unit; unit == "" && slices.Contains(measured, spec.Meaning) {
		m.ask(key, "no unit is written: what are the numbers of %q measured in?", spec.Name)
		spec.Unit = open
	}
}

func texts(values []value) []string {
	list := make([]string, len(values))
	for i, v := range values {
		list[i] = v.text
	}
	return list
}
