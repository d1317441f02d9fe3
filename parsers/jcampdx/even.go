package jcampdx

import (
	"math"

	"underbond/parsers"
)

// freePoints is how many ordinates a table may have whatever its size in bytes, so
// that a long run of equal values passes; beyond it, Limits.InflateRatio holds.
const freePoints = 1 << 20

// evenTable collects a table (X++(Y..Y)).
type evenTable struct {
	ordinates
	limits parsers.Limits
	marks  []mark
	bytes  int
	ended  parsers.Place // place of the last line
	// failedAt is where a check ordinate did not agree on what may be the closing line.
	failedAt parsers.Place
	x        []float64
	left     func() int64 // bytes of the content after those read; 0 is unknown
	plain    int          // lines without pseudo-digits
	coded    int          // lines with them
	// word is where letters between plain numbers may have been read as pseudo-digits.
	word parsers.Place
}

// reset makes the table ready for new data and keeps its memory.
func (t *evenTable) reset(limits parsers.Limits) {
	*t = evenTable{limits: limits, marks: t.marks[:0], x: t.x[:0], left: t.left, ordinates: ordinates{y: t.y[:0], decimal: '.', expected: t.guess}}
}

func (t *evenTable) useComma() { t.decimal = ',' }

// guess tells how many more ordinates may come: as many a byte as so far, and no more than one.
func (t *evenTable) guess() int {
	if t.left == nil || t.bytes < 4096 {
		return 0
	}
	left := t.left()
	return int(min(float64(left), float64(len(t.y))/float64(t.bytes)*float64(left)*1.02, float64(t.limit)))
}

// refused places a fault within a line.
func refused(place parsers.Place, wrong *lineError) error {
	place.Column = wrong.at + 1
	return parsers.Refuse(wrong.code, place, "%s", wrong.text)
}

// line takes one line of data.
func (t *evenTable) line(b []byte, place parsers.Place) error {
	if t.failed {
		return parsers.Refuse("jcampdx-y-check", t.failedAt,
			"the check ordinate is %g, the line before ends with %g", t.found, t.want)
	}
	i := 0
	for i < len(b) && isSpace(b[i]) {
		i++
	}
	at := i
	x, i, problem := scanNumber(b, i, t.decimal, exponentAFFN)
	if problem != "" {
		return refused(place, wrongAt(at, "jcampdx-abscissa", "the abscissa %q %s", excerpt(b, at), problem))
	}
	t.bytes += len(b) + 1
	t.limit = t.limits.Points
	if ratio := t.bytes / 8 * t.limits.InflateRatio; t.limit > freePoints && ratio < t.limit {
		t.limit = max(ratio, freePoints)
	}
	before := len(t.y)
	start := i
	checked, wrong := t.ordinates.line(b, i)
	if wrong != nil {
		return refused(place, wrong)
	}
	if t.failed {
		t.failedAt = place
		if len(t.y) > before {
			return parsers.Refuse("jcampdx-y-check", place,
				"the check ordinate is %g, the line before ends with %g", t.found, t.want)
		}
	}
	if !t.pseudo {
		t.plain++
	} else if t.coded++; t.plain >= t.coded && t.word.Line == 0 && hasWord(b[start:]) {
		t.word = place
	}
	index := before
	if checked {
		index--
	}
	t.marks = append(t.marks, mark{index: index, x: x, line: int32(min(place.Line, math.MaxInt32))})
	t.ended = place
	return nil
}

// finish gives the points of the table and what its header gets wrong.
func (t *evenTable) finish(d description, place parsers.Place) (points, error) {
	var out points
	if len(t.y) == 0 {
		return out, parsers.Refuse("jcampdx-empty-table", place, "the table has no data")
	}
	for _, a := range []axis{d.x, d.y} {
		if err := a.usable(); err != nil {
			return out, err
		}
	}
	if !d.y.factor.set {
		out.problems = append(out.problems, parsers.Warn("jcampdx-no-factor", place,
			"no factor is declared for the ordinates; they are taken as written"))
	}
	if t.failed {
		out.problems = append(out.problems, parsers.Warn("jcampdx-y-check", t.failedAt,
			"the check ordinate of the closing line is %g, the data ends with %g", t.found, t.want))
	}
	if t.last == formDifference {
		out.problems = append(out.problems, parsers.Warn("jcampdx-no-closing-check", t.ended,
			"the table ends with a difference and has no closing line to check it"))
	}
	if first := d.x.first; first.comma {
		if step := math.Abs(d.x.last.v-first.v) / float64(max(len(t.y)-1, 1)); d.x.last.set &&
			!(math.Abs(t.marks[0].x*d.x.factorOr1()-first.v) <= step*(1+1e-6)) {
			return out, parsers.Refuse("jcampdx-decimal-comma", first.place,
				"%q does not agree with the first line of the table, with a decimal comma or without", clip(first.text))
		}
	}
	g, problems, err := chooseGrid(d.x, d.points, t.marks, len(t.y), place)
	if err != nil {
		return out, err
	}
	out.problems = append(out.problems, problems...)
	if t.word.Line > 0 && t.coded < t.plain {
		if off, _, _ := g.misfit(t.marks, d.x.factorOr1()); off > 0 || d.points.set && d.points.v != float64(len(t.y)) {
			return out, parsers.Refuse("jcampdx-letters", t.word,
				"letters stand among the plain numbers of the table, and its count or abscissae do not agree when they are read as pseudo-digits")
		}
		out.problems = append(out.problems, parsers.Warn("jcampdx-letters", t.word,
			"letters stand among the plain numbers of the table; they were read as pseudo-digits"))
	}
	if !(math.Abs(g.step) <= math.MaxFloat64) {
		return out, parsers.Refuse("jcampdx-number-range", place, "the declared abscissae are too far apart")
	}
	if d.x.delta.disagrees(g.step, 1e-3*math.Abs(g.step)) && len(t.y) > 1 {
		out.problems = append(out.problems, d.x.delta.warn("jcampdx-deltax", "step", g.step))
	}
	t.x = g.fill(t.x[:0], len(t.y))
	out.span = scale(t.y, d.y.factorOr1())
	out.x, out.y = t.x, t.y
	return out, out.judge(d, place)
}

// hasWord reports that a line has three letters in a row after a blank: a word, where
// numbers stand apart. Lines of pseudo-digits have them too.
func hasWord(b []byte) bool {
	run := 0
	for i, c := range b {
		switch letter := c|0x20 >= 'a' && c|0x20 <= 'z'; {
		case letter && (run > 0 || i == 0 || isSpace(b[i-1])):
			if run++; run == 3 {
				return true
			}
		default:
			run = 0
		}
	}
	return false
}

// span are the least and the greatest of some values, without missing ones.
type span struct{ low, high float64 }

// none reports that all values are missing.
func (s span) none() bool { return !(s.low <= s.high) }

// scale multiplies by the factor and finds the span of the products.
func scale(y []float64, factor float64) span {
	s := span{math.Inf(1), math.Inf(-1)}
	for i, v := range y {
		v *= factor
		y[i] = v
		if v < s.low {
			s.low = v
		}
		if v > s.high {
			s.high = v
		}
	}
	return s
}

// points are the decoded points of a table, or its rows when it is no spectrum, with
// the warnings about them.
type points struct {
	x, y     []float64
	span     span // of y
	table    *parsers.Table
	problems []parsers.Problem
}

// judge compares the points with the extremes and ends that the header declares,
// and refuses points that a factor took out of the range of numbers.
func (p *points) judge(d description, place parsers.Place) error {
	n := len(p.y)
	low, high, some := p.span.low, p.span.high, !p.span.none()
	if math.IsInf(low, -1) && some || math.IsInf(high, 1) && some || math.IsInf(p.x[0], 0) || math.IsInf(p.x[n-1], 0) {
		return parsers.Refuse("jcampdx-number-range", place, "the factor takes a value out of the range of numbers")
	}
	warn := func(declared number, value, slack float64, code, what string) {
		if declared.disagrees(value, slack) {
			p.problems = append(p.problems, declared.warn(code, what, value))
		}
	}
	unit := math.Abs(d.y.factorOr1()) // writers round or cut off
	if !d.y.factor.set {
		unit = 0
	}
	warn(d.y.first, p.y[0], unit, "jcampdx-firsty", "first ordinate")
	if some {
		warn(d.y.max, high, unit, "jcampdx-maxy", "largest ordinate")
		warn(d.y.min, low, unit, "jcampdx-miny", "smallest ordinate")
	}
	var slack float64
	if n > 1 {
		slack = 1e-6 * math.Abs(p.x[n-1]-p.x[0]) / float64(n-1)
	}
	warn(d.x.first, p.x[0], slack, "jcampdx-firstx", "first abscissa")
	warn(d.x.last, p.x[n-1], slack, "jcampdx-lastx", "last abscissa")
	return nil
}
