package jcampdx

import (
	"math"
	"strings"

	"underbond/parsers"
)

// mostRows bounds the rows of one table: a row takes many times the memory of its text.
const mostRows = 1 << 20

// rowTable collects groups that are more than pairs: peaks with widths (XYW..XYW) and
// peak assignments (XYA), (XYWA), whose groups stand in round brackets and whose
// strings stand in angle brackets and may run over lines.
type rowTable struct {
	members string
	limits  parsers.Limits
	rows    []parsers.Row

	group    []string
	line0    int    // line on which the group starts
	text     []byte // of the member being read
	inString bool
	bracket  bool
	ended    bool // a blank ended the member; only a separator may still follow
	bytes    int
}

func (t *rowTable) reset(members string, limits parsers.Limits) {
	*t = rowTable{members: members, limits: limits}
}

// useComma implements table. Members are separated by commas, so a decimal comma
// cannot stand in a group; the number is then refused.
func (t *rowTable) useComma() {}

// line takes one line of data.
func (t *rowTable) line(b []byte, place parsers.Place) error {
	if t.bytes += len(b); t.bytes > t.limits.TokenBytes {
		return refused(place, wrongAt(0, "jcampdx-limit-group", "a group is longer than %d bytes", t.limits.TokenBytes))
	}
	for i, c := range b {
		var wrong string
		switch {
		case t.inString:
			t.text = append(t.text, c)
			t.inString = c != '>'
		case c == '<' && len(t.text) == 0:
			t.begin(place)
			t.text = append(t.text, c)
			t.inString = true
		case c == '(' && !t.bracket && len(t.text) == 0 && len(t.group) == 0:
			t.begin(place)
			t.bracket = true
		case c == ')' && t.bracket:
			t.endMember()
			t.bracket = false
			wrong = t.endGroup()
		case c == ',':
			t.begin(place)
			t.endMember()
		case c == ';' && !t.bracket:
			if len(t.text) > 0 {
				t.endMember()
			}
			if len(t.group) > 0 {
				wrong = t.endGroup()
			}
		case isSpace(c):
			t.ended = len(t.text) > 0
		default:
			if t.ended && !t.bracket {
				t.endMember()
				wrong = t.endFull()
			} else if t.ended {
				t.text = append(t.text, ' ')
			}
			t.ended = false
			t.begin(place)
			t.text = append(t.text, c)
		}
		if wrong == "" && !t.bracket && !t.inString && len(t.group) == len(t.members) {
			wrong = t.endGroup()
		}
		if wrong != "" {
			return refused(place, wrongAt(i, "jcampdx-group", "%s", wrong))
		}
	}
	switch {
	case t.inString && t.text[len(t.text)-1] == '=':
		t.text = t.text[:len(t.text)-1] // the string goes on
	case t.inString:
		t.text = append(t.text, '\n')
	case t.bracket:
		t.ended = len(t.text) > 0
	case len(t.group) > 0 || len(t.text) > 0:
		t.endMember()
		if wrong := t.endGroup(); wrong != "" {
			return refused(place, wrongAt(len(b), "jcampdx-group", "%s", wrong))
		}
	}
	return nil
}

func (t *rowTable) begin(place parsers.Place) {
	if len(t.group) == 0 && len(t.text) == 0 && !t.bracket {
		t.line0 = place.Line
	}
}

func (t *rowTable) endMember() {
	t.group = append(t.group, strings.TrimSpace(string(t.text)))
	t.text, t.ended = t.text[:0], false
}

// endFull ends the group when it is complete.
func (t *rowTable) endFull() string {
	if len(t.group) < len(t.members) {
		return ""
	}
	return t.endGroup()
}

// endGroup makes a row of the group. It returns what is wrong with it.
func (t *rowTable) endGroup() string {
	if len(t.group) != len(t.members) {
		return "a group does not have the members " + t.members
	}
	if len(t.rows) >= min(t.limits.Points, mostRows) {
		return "the table has too many groups"
	}
	row := parsers.Row{Line: t.line0, Cells: make([]parsers.Cell, len(t.group))}
	for i, text := range t.group {
		cell := parsers.Cell{Text: text}
		switch v, comma, ok := headerNumber(text); {
		case text == "":
			cell.Mark = "empty"
		case t.members[i] == 'A' || t.members[i] == 'M':
		case !ok || comma:
			return "a member is not a number: " + clip(text)
		default:
			cell.Value = &v
		}
		row.Cells[i] = cell
	}
	t.rows = append(t.rows, row)
	t.group = t.group[:0]
	t.bytes = 0
	return ""
}

// finish gives the rows as a table with one column a member.
func (t *rowTable) finish(d description, place parsers.Place) (points, error) {
	var out points
	switch {
	case t.bracket || t.inString:
		return out, parsers.Refuse("jcampdx-group", place, "the last group of the table, on line %d, is not closed", t.line0)
	case len(t.rows) == 0:
		return out, parsers.Refuse("jcampdx-empty-table", place, "the table has no data")
	}
	if n := float64(len(t.rows)); d.points.set && d.points.v != n {
		out.problems = append(out.problems, d.points.warn("jcampdx-npoints", "count", n))
	}
	out.table = &parsers.Table{Rows: t.rows}
	for i, member := range t.members {
		column := parsers.Column{Name: string(member)}
		var a axis
		switch member {
		case 'X':
			a = d.x
		case 'Y':
			a = d.y
		}
		q := quantity(a.units)
		column.Unit, column.UnitText = q.Unit, q.UnitText
		if err := a.usable(); err != nil {
			return out, err
		}
		factor := a.factorOr1()
		for _, row := range t.rows {
			if v := row.Cells[i].Value; v != nil {
				if *v *= factor; math.IsInf(*v, 0) {
					return out, parsers.Refuse("jcampdx-number-range", place, "the factor takes a value out of the range of numbers")
				}
			}
		}
		out.table.Columns = append(out.table.Columns, column)
	}
	return out, nil
}
