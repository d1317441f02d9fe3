package qc

import (
	"fmt"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/worklist"
)

// group is a preparation batch or, where a rule says so or lines name none, a run.
type group struct {
	name     string
	measured []*entry
}

// groups splits the batch by a rule's scope, in the order of first positions.
func (e *evaluator) groups(r *method.Rule) ([]*group, map[string]*group) {
	var list []*group
	byName := map[string]*group{}
	for _, m := range e.entries {
		name := groupName(r, m)
		g := byName[name]
		if g == nil {
			g = &group{name: name}
			byName[name] = g
			list = append(list, g)
		}
		if m.isMeasured() {
			g.measured = append(g.measured, m)
		}
	}
	return list, byName
}

func groupName(r *method.Rule, m *entry) string {
	if r.Scope == method.ScopeRun || m.Line.PrepBatch == "" {
		return "run " + m.Line.Run
	}
	return method.ScopePreparation + " " + m.Line.PrepBatch
}

func scopeOf(r *method.Rule, own string) string {
	if r.Scope != "" {
		return r.Scope
	}
	return own
}

// hasSamples tells whether the group has anything to report.
func (g *group) hasSamples() bool {
	for _, m := range g.measured {
		if m.Line.Role == worklist.RoleSample {
			return true
		}
	}
	return false
}

// methodBlanks judges each method blank for each analyte over its preparation batch, and
// the absence of one.
func (e *evaluator) methodBlanks(r *method.Rule) {
	groups, _ := e.groups(r)
	blanks := map[string][]*entry{}
	for _, m := range e.entries {
		if m.Line.Role == worklist.RoleMethodBlank {
			blanks[groupName(r, m)] = append(blanks[groupName(r, m)], m)
		}
	}
	for i := range e.method.Analytes {
		a := &e.method.Analytes[i]
		if !concerns(r, a.Name) {
			continue
		}
		for _, g := range groups {
			s := subject{rule: r.Rule, scope: scopeOf(r, method.ScopePreparation), source: r.Source, analyte: a.Name}
			cover := edge{analyte: a.Name, positions: positionsOf(g.measured)}
			for _, m := range blanks[g.name] {
				e.record(s.at(m), e.blankVerdict(r, m, i), cover)
			}
			if len(blanks[g.name]) == 0 && g.hasSamples() {
				s.key, s.words = g.name, "method blank of "+g.name
				e.record(s, judgement{verdict: Missing, reason: fmt.Sprintf("the worklist has no method blank for %s", g.name)}, cover)
			}
		}
	}
}

func (e *evaluator) blankVerdict(r *method.Rule, m *entry, analyte int) judgement {
	a := &e.method.Analytes[analyte]
	q := e.quantity(m, analyte)
	if m.State != MemberRecorded {
		return q.why
	}
	if is := e.internalFault(m, analyte); is.verdict != Pass {
		return is
	}
	if a.LOQ == nil {
		return unevaluable("the method gives no LOQ for %s", a.Name)
	}
	high := *r.LOQFraction * *a.LOQ * m.Line.Dilution
	low := -high
	amount := q.amount * m.Line.Dilution
	j := judgement{statistic: "amount", observed: &amount, low: &low, high: &high, unit: a.Unit}
	switch q.state {
	case readNothing:
		return q.why
	case readNotFound:
		j.observed = nil
		j.verdict, j.reason = Pass, fmt.Sprintf("%s: no %s found (limit %s %s)", m.name(), a.Name, between(&low, &high), a.Unit)
		return j
	case readBelow:
		j.observed = nil
		j.verdict, j.reason = Pass, fmt.Sprintf("%s: less than %s %s %s (limit %s %s)", m.name(), words(amount), a.Unit, a.Name, between(&low, &high), a.Unit)
		if !rule.AtMost(amount, high) {
			j.verdict = NotEvaluable
		}
		return j
	case readAbove:
		j.observed = nil
		j.verdict, j.reason = NotEvaluable, fmt.Sprintf("%s: more than %s %s %s (limit %s %s)", m.name(), words(amount), a.Unit, a.Name, between(&low, &high), a.Unit)
		if !rule.AtMost(amount, high) {
			j.verdict = Fail
		}
		return j
	}
	j.verdict = Pass
	if !rule.Within(amount, &low, &high) {
		j.verdict = Fail
	}
	j.reason = fmt.Sprintf("%s contains %s %s %s (limit %s %s)", m.name(), besideLimits(amount, &low, &high), a.Unit, a.Name, between(&low, &high), a.Unit)
	return j
}
