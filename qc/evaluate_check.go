package qc

import (
	"fmt"
	"slices"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/worklist"
)

// Brackets of check standards.
const (
	bracketsBoth    = "both sides"
	bracketsOpening = "opening only"
)

// bracketKey finds what a check standard covers for an analyte.
type bracketKey struct {
	position int
	analyte  int
}

// checkStandards judges each check standard for each analyte that it has a value for.
// It covers the test portions acquired between its neighbours, and an initial one all
// that its calibration quantifies. What no check standard precedes or, in brackets
// with both sides, follows is held by the one that is not there.
func (e *evaluator) checkStandards(r *method.Rule) {
	for i := range e.method.Analytes {
		if !concerns(r, e.method.Analytes[i].Name) {
			continue
		}
		for _, run := range e.runs {
			e.checkRun(r, i, run)
		}
	}
}

func (e *evaluator) checkRun(r *method.Rule, analyte int, run string) {
	a := &e.method.Analytes[analyte]
	var checks []*entry
	measured := e.inRun[run].measured
	for _, m := range e.inRun[run].checks {
		if e.nominal(m, analyte).state != nominalNone {
			checks = append(checks, m)
		}
	}
	s := subject{rule: r.Rule, scope: scopeOf(r, method.ScopeRun), source: r.Source, analyte: a.Name}
	for i, check := range checks {
		// The positions between the neighbours: all before the first and after the last belong to them.
		from, to := 0, len(measured)
		if r.Brackets == bracketsOpening {
			from = behind(measured, check)
		} else if i > 0 {
			from = behind(measured, checks[i-1])
		}
		if i+1 < len(checks) {
			to = behind(measured, checks[i+1])
		}
		positions := positionsOf(measured[from:to])
		if check.Line.Role == worklist.RoleInitialCheck {
			positions = append(positions, e.verifiedBy(check, analyte)...)
		}
		key := bracketKey{check.Line.Position, analyte}
		e.bracket[key] = append(e.bracket[key], positions...)
		e.record(s.at(check), e.checkVerdict(r, check, analyte), edge{analyte: a.Name, positions: positions})
	}
	without := func(side string, held []*entry) {
		if len(held) == 0 {
			return
		}
		s.key, s.words = side+" of run "+run, side+" check standard of run "+run
		reason := fmt.Sprintf("the worklist has no check standard for %s that was or will be acquired %s %s of run %s", a.Name, sideWords[side], heldWords(held), run)
		e.record(s, judgement{verdict: Missing, reason: reason}, edge{analyte: a.Name, positions: positionsOf(held)})
	}
	if len(checks) == 0 {
		without("opening", measured)
		if r.Brackets != bracketsOpening {
			without("closing", measured)
		}
		return
	}
	without("opening", measured[:behind(measured, checks[0])])
	if r.Brackets != bracketsOpening {
		without("closing", measured[behind(measured, checks[len(checks)-1]):])
	}
}

var sideWords = map[string]string{"opening": "before", "closing": "after"}

func heldWords(held []*entry) string {
	first, last := held[0].Line.Position, held[len(held)-1].Line.Position
	if len(held) == 1 {
		return fmt.Sprintf("position %d", first)
	}
	return fmt.Sprintf("positions %d to %d", min(first, last), max(first, last))
}

// behind is the index of the first of the entries, which are in the order of acquisition,
// that was acquired after m; their number when there is none.
func behind(entries []*entry, m *entry) int {
	i, _ := slices.BinarySearchFunc(entries, m.rank+1, func(other *entry, rank int) int { return other.rank - rank })
	return i
}

// verifiedBy are the positions that an initial check standard verifies: those of its
// calibration, or of its run where the method has none.
func (e *evaluator) verifiedBy(m *entry, analyte int) []int {
	if c := e.curve(m, analyte); c != nil {
		return e.servedBy(c)
	}
	return e.measuredIn([]string{m.Line.Run})
}

func (e *evaluator) checkVerdict(r *method.Rule, m *entry, analyte int) judgement {
	a := &e.method.Analytes[analyte]
	q := e.quantity(m, analyte)
	if m.State != MemberRecorded {
		return q.why
	}
	n := e.nominal(m, analyte)
	if n.state != nominalKnown {
		return unevaluable("%s: %s", m.name(), n.why)
	}
	if is := e.internalFault(m, analyte); is.verdict != Pass {
		return is
	}
	if c := e.curve(m, analyte); c != nil && c.run == m.Line.Run && m.rank < c.lastRank() {
		return unevaluable("the %s was acquired before the last calibration standard of the curve that it verifies", m.name())
	}
	j := judgement{statistic: "recovery", low: r.Low, high: r.High, unit: "%"}
	switch q.state {
	case readNothing:
		return q.why
	case readNotFound:
		j.verdict, j.reason = Fail, fmt.Sprintf("%s: no %s found where %s %s are nominal", m.name(), a.Name, words(n.value), a.Unit)
		return j
	case readBelow, readAbove:
		return unevaluable("%s: %s of %s gives no recovery", m.name(), q.why.reason, a.Name)
	}
	recovery := rule.Recovery(q.amount*m.Line.Dilution, n.value)
	j.observed = &recovery
	j.reason = fmt.Sprintf("%s recovered %s %% of %s (limit %s %%)", m.name(), besideLimits(recovery, r.Low, r.High), a.Name, between(r.Low, r.High))
	l := e.limits(m, analyte)
	switch {
	case number(&recovery) == nil:
		j.verdict, j.reason = NotEvaluable, fmt.Sprintf("%s: the recovery of %s from a nominal amount of %s %s is not a number", m.name(), a.Name, words(n.value), a.Unit)
	case !rule.Within(recovery, r.Low, r.High):
		j.verdict = Fail
	case l.high != nil && !rule.AtMost(q.amount, *l.high):
		j.verdict = NotEvaluable
		j.reason += fmt.Sprintf(", read above the working range (%s %s)", between(l.low, l.high), a.Unit)
	default:
		j.verdict = Pass
	}
	return j
}
