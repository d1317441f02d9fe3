package jcampdx

import (
	"math"
	"slices"

	"underbond/parsers"
)

// mark is the abscissa at the start of one line of a table (X++(Y..Y)).
type mark struct {
	index int     // ordinate that it belongs to
	x     float64 // as written, before the factor
	line  int32
}

// grid is a rule that gives each ordinate its abscissa.
type grid struct {
	first, step float64
	// last closes a grid between two declared ends exactly.
	last   float64
	closed bool
}

func between(first, last float64, n int) grid {
	if n < 2 {
		return grid{first: first, last: first}
	}
	return grid{first: first, step: (last - first) / float64(n-1), last: last, closed: true}
}

// fill appends n abscissae to x.
func (g grid) fill(x []float64, n int) []float64 {
	x = slices.Grow(x, n)[:len(x)+n]
	filled := x[len(x)-n:]
	for i := range filled {
		filled[i] = g.first + float64(i)*g.step
	}
	if g.closed && n > 1 {
		x[len(x)-1] = g.last
	}
	return x
}

// misfit counts the marks that are more than one step off the grid and finds the worst.
func (g grid) misfit(marks []mark, factor float64) (off int, worst float64, at mark) {
	step := math.Abs(g.step)
	for _, m := range marks {
		d := math.Abs(m.x*factor - (g.first + float64(m.index)*g.step))
		if d <= step*(1+1e-6) || d <= 1e-9*math.Abs(g.first) {
			continue
		}
		off++
		if d > worst || off == 1 {
			worst, at = d, m
		}
	}
	return off, worst, at
}

// counts reports that the marks count ordinates, up or down from any start, rather
// than give abscissae: they prove that no ordinate is missing but give no scale.
func counts(marks []mark) bool {
	if len(marks) < 2 {
		return false
	}
	up, down := true, true
	for _, m := range marks {
		moved, want := m.x-marks[0].x, float64(m.index-marks[0].index)
		up = up && moved == want
		down = down && moved == -want
	}
	return up || down
}

// chooseGrid finds the abscissae of n ordinates. When the declared count agrees, the
// declared ends hold. Otherwise the first rule holds that keeps the abscissa of every
// line within one step: ends over the actual count, ends over the declared count,
// DELTAX, the lines themselves.
func chooseGrid(x axis, points number, marks []mark, n int, place parsers.Place) (grid, []parsers.Problem, error) {
	factor := x.factorOr1()
	var problems []parsers.Problem
	agrees := points.set && points.v == float64(n)
	if points.set && !agrees {
		problems = append(problems, points.warn("jcampdx-npoints", "count", float64(n)))
	}
	if agrees && x.first.set && x.last.set && (n < 2 || x.first.v != x.last.v) {
		g := between(x.first.v, x.last.v, n)
		if off, worst, at := g.misfit(marks, factor); off > 0 && n > 1 {
			where := place
			where.Line, where.Offset = int(at.line), 0
			problems = append(problems, parsers.Warn("jcampdx-x-check", where,
				"%d of %d lines start more than one step of %g off the declared abscissae, this one by %g",
				off, len(marks), math.Abs(g.step), worst))
		}
		return g, problems, nil
	}
	var candidates []grid
	if x.first.set && x.last.set {
		candidates = append(candidates, between(x.first.v, x.last.v, n))
		if count := points.v; points.set && count >= 2 && count == math.Trunc(count) {
			g := between(x.first.v, x.last.v, n)
			g.step, g.closed = (x.last.v-x.first.v)/(count-1), false
			candidates = append(candidates, g)
		}
	}
	if x.first.set && x.delta.set {
		candidates = append(candidates, grid{first: x.first.v, step: x.delta.v})
	}
	fits := func(g grid) bool {
		off, _, _ := g.misfit(marks, factor)
		return off == 0 && (n < 2 || g.step != 0)
	}
	for _, g := range candidates {
		if fits(g) {
			return g, problems, nil
		}
	}
	if x.first.set && x.last.set && counts(marks) {
		problems = append(problems, parsers.Warn("jcampdx-x-check", place,
			"the lines count ordinates instead of giving abscissae"))
		return between(x.first.v, x.last.v, n), problems, nil
	}
	if g := gridOfMarks(marks, factor, x.delta); fits(g) {
		problems = append(problems, parsers.Warn("jcampdx-x-from-lines", place,
			"the abscissae come from the lines of the table: the declared ones are absent or do not fit"))
		return g, problems, nil
	}
	return grid{}, nil, parsers.Refuse("jcampdx-abscissa", place,
		"neither the declared abscissae nor those of the lines fit the %d ordinates", n)
}

// gridOfMarks draws the grid through the first and the last line of a table. A table
// of one line has no step of its own and takes the declared one.
func gridOfMarks(marks []mark, factor float64, delta number) grid {
	first, last := marks[0], marks[len(marks)-1]
	g := grid{step: delta.v}
	if last.index > first.index {
		g.step = (last.x - first.x) * factor / float64(last.index-first.index)
	}
	g.first = first.x*factor - float64(first.index)*g.step
	return g
}
