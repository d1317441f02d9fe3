package jcampdx

import (
	"math"

	"underbond/parsers"
)

// groupTable collects a table of groups of numbers: (XY..XY), (XYW..XYW) and so on.
// Members are separated by commas or blanks, groups by semicolons, blanks or line
// ends; a group never runs over a line end.
type groupTable struct {
	width   int // members of a group
	decimal byte
	limit   int
	columns [][]float64
	lines   []int // line of each group, kept only for tables with more than two members
}

// reset makes the table ready for groups of width members and keeps its memory.
func (t *groupTable) reset(width int, limits parsers.Limits) {
	t.width, t.decimal, t.limit, t.lines = width, '.', limits.Points, t.lines[:0]
	for len(t.columns) < width {
		t.columns = append(t.columns, nil)
	}
	for i := range t.columns {
		t.columns[i] = t.columns[i][:0]
	}
}

func (t *groupTable) useComma() { t.decimal = ',' }

// line takes one line of data.
func (t *groupTable) line(b []byte, place parsers.Place) error {
	member, delimited := 0, true
	for i := 0; i < len(b); {
		c := b[i]
		switch {
		case isSpace(c):
			i++
			continue
		case c == ';' || c == ',' && t.decimal != ',':
			if delimited {
				return refused(place, wrongAt(i, "jcampdx-group", "a value is missing before %q", c))
			}
			delimited = true
			i++
			continue
		}
		var v float64
		at := i
		if c == '?' && member > 0 {
			v = math.NaN()
			i++
		} else {
			var problem string
			v, i, problem = scanNumber(b, i, t.decimal, exponentAny)
			if problem != "" {
				return refused(place, wrongAt(at, "jcampdx-group", "%q %s", excerpt(b, at), problem))
			}
		}
		if i < len(b) && !isSpace(b[i]) && b[i] != ';' && b[i] != '+' && b[i] != '-' && (b[i] != ',' || t.decimal == ',') {
			return refused(place, wrongAt(at, "jcampdx-group", "%q is not one number", excerpt(b, at)))
		}
		delimited = false
		if len(t.columns[0]) >= t.limit && member == 0 {
			return refused(place, wrongAt(at, "jcampdx-limit-points", "the table has more than %d points", t.limit))
		}
		t.columns[member] = append(t.columns[member], v)
		if member++; member == t.width {
			member = 0
			if t.width > 2 {
				t.lines = append(t.lines, place.Line)
			}
		}
	}
	if member != 0 {
		return refused(place, wrongAt(len(b), "jcampdx-group", "the last group of the line has %d of %d members", member, t.width))
	}
	return nil
}

// finish gives the points of a table of pairs.
func (t *groupTable) finish(d description, place parsers.Place) (points, error) {
	var out points
	if len(t.columns[0]) == 0 {
		return out, parsers.Refuse("jcampdx-empty-table", place, "the table has no data")
	}
	for _, a := range []axis{d.x, d.y} {
		if err := a.usable(); err != nil {
			return out, err
		}
	}
	out.x, out.y = t.columns[0], t.columns[1]
	out.span = scale(out.y, d.y.factorOr1())
	if s := scale(out.x, d.x.factorOr1()); math.IsInf(s.low, 0) || math.IsInf(s.high, 0) {
		return out, parsers.Refuse("jcampdx-number-range", place, "the factor takes an abscissa out of the range of numbers")
	}
	if n := float64(len(out.y)); d.points.set && d.points.v != n {
		out.problems = append(out.problems, d.points.warn("jcampdx-npoints", "count", n))
	}
	return out, out.judge(d, place)
}
