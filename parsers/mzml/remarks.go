package mzml

import "underbond/parsers"

// remarks collects problems and bounds their number.
type remarks struct {
	list   []parsers.Problem
	kinds  []remarkKind
	counts map[remarkKind]int
	passed map[remarkKind]int // not given to add, since many of the kind are on their way
}

// remarkKind is what problems are counted by.
type remarkKind struct {
	grade parsers.Grade
	code  string
}

// remarksOfAKind is how many problems of one kind are kept.
const remarksOfAKind = 20

func (m *remarks) add(p parsers.Problem) {
	if m.counts == nil {
		m.counts = map[remarkKind]int{}
	}
	kind := remarkKind{p.Grade, p.Code}
	n := m.counts[kind]
	if n == 0 {
		m.kinds = append(m.kinds, kind)
	}
	if m.counts[kind]++; n < remarksOfAKind {
		m.list = append(m.list, p)
	}
}

// all gives the problems kept and one for each kind of which there were more.
func (m *remarks) all() []parsers.Problem {
	for _, kind := range m.kinds {
		if more := m.counts[kind] - remarksOfAKind + m.passed[kind]; more > 0 {
			p := parsers.Warn(kind.code, parsers.Place{}, "%d more of this kind are not listed", more)
			p.Grade = kind.grade
			m.list = append(m.list, p)
		}
	}
	return m.list
}

// warn keeps a warning met while scanning, at the token read last: with the signal that
// is being read, so that all problems come out in file order, or else with the run.
func (r *reading) warn(code, format string, args ...any) {
	kind := remarkKind{parsers.Warned, code}
	if r.warned[kind]++; r.warned[kind] > remarksOfAKind {
		r.run.passed[kind]++
		return
	}
	if r.item != nil {
		r.item.problems = append(r.item.problems, parsers.Warn(code, r.here(), format, args...))
		return
	}
	r.run.add(parsers.Warn(code, r.here(), format, args...))
}

// remark keeps a warning about the signal that is being read.
func (r *reading) remark(code, format string, args ...any) {
	before := len(r.item.problems)
	r.warn(code, format, args...)
	for i := range r.item.problems[before:] {
		r.item.problems[before+i].Where.Element = r.item.name()
	}
}
