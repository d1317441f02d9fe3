package qc

import (
	"fmt"
	"math"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/worklist"
)

// Statistics and coverage of duplicate precision.
const (
	statisticRSD  = "RSD"
	statisticRPD  = "relative percent difference"
	statisticDiff = "absolute difference"

	coversBatch  = "preparation batch"
	coversParent = "parent"
)

// nearLOQ is the multiple of the LOQ below which duplicates are judged by their
// absolute difference.
const nearLOQ = 5

// duplicates judges each duplicate against its parent, and the want of one. The method
// requires one of each preparation batch; one more that never came holds nothing.
func (e *evaluator) duplicates(r *method.Rule) {
	groups, byName := e.groups(r)
	pairs := map[string][]*entry{}
	for _, m := range e.entries {
		if m.Line.Role == worklist.RoleDuplicate {
			name := groupName(r, e.at[m.Line.Parent])
			pairs[name] = append(pairs[name], m)
		}
	}
	for i := range e.method.Analytes {
		if !concerns(r, e.method.Analytes[i].Name) {
			continue
		}
		for _, g := range groups {
			if g.hasSamples() || len(pairs[g.name]) > 0 {
				e.groupPrecision(r, i, byName[g.name], pairs[g.name])
			}
		}
	}
}

// groupPrecision records the precision of one analyte in one preparation batch.
func (e *evaluator) groupPrecision(r *method.Rule, analyte int, g *group, pairs []*entry) {
	a := &e.method.Analytes[analyte]
	s := subject{rule: r.Rule, scope: scopeOf(r, method.ScopePreparation), source: r.Source, analyte: a.Name}
	verdicts := make([]judgement, len(pairs))
	judged, open := 0, 0
	for i, m := range pairs {
		verdicts[i] = e.precision(r, m, analyte)
		switch verdicts[i].verdict {
		case Pass, Fail:
			judged++
		case Pending, Missing, NotEvaluable:
			open++
		}
	}
	whole := edge{analyte: a.Name, positions: positionsOf(g.measured)}
	for i, m := range pairs {
		parent := edge{analyte: a.Name, positions: []int{m.Line.Parent}}
		cover := whole
		// The requirement concerns the preparation batch; what a failure holds is the method's choice.
		if r.Covers == coversParent && judged > 0 {
			cover = parent
		} else {
			cover.positions = append([]int{m.Line.Parent}, cover.positions...)
		}
		if verdicts[i].verdict == Missing && judged > 0 {
			cover.effect = EffectInforms
		}
		at := s.at(m)
		at.positions = []int{m.Line.Parent, m.Line.Position}
		e.record(at, verdicts[i], cover)
	}
	if judged > 0 || open > 0 {
		return
	}
	// No pair says anything of the precision of amounts above the LOQ.
	lacking := judgement{verdict: Missing, reason: fmt.Sprintf("the worklist has no duplicate for %s", g.name)}
	if len(pairs) > 0 {
		lacking.reason = fmt.Sprintf("no duplicate of %s has %s above the LOQ", g.name, a.Name)
		whole.positions = nil
		for _, m := range g.measured {
			if o := e.outcome(m, analyte); o.value != nil || o.censored == CensorAbove {
				whole.positions = append(whole.positions, m.Line.Position)
			}
		}
		if len(whole.positions) == 0 {
			return
		}
	}
	s.key, s.words = g.name, "duplicate of "+g.name
	e.record(s, lacking, whole)
}

// portion is one of two duplicates: its amount lies between low and high, which differ
// when nothing was found.
type portion struct {
	low, high float64
	loq       *float64
	censored  bool
}

func (e *evaluator) precision(r *method.Rule, m *entry, analyte int) judgement {
	a := &e.method.Analytes[analyte]
	parent := e.at[m.Line.Parent]
	var pair [2]portion
	for i, member := range []*entry{parent, m} {
		if member.State != MemberRecorded {
			return e.absence(member)
		}
		if is := e.internalFault(member, analyte); is.verdict != Pass {
			if member == parent && is.verdict == Fail {
				is.verdict = NotEvaluable // the parent is held itself; its duplicate proves nothing
			}
			return is
		}
		p, why := e.portion(member, analyte)
		if why != nil {
			return *why
		}
		pair[i] = p
	}
	x, y := pair[0], pair[1]
	names := fmt.Sprintf("duplicate at position %d of the %s", m.Line.Position, parent.name())
	if x.censored && y.censored {
		return judgement{verdict: NotApplicable, reason: fmt.Sprintf("%s: both below the LOQ for %s", names, a.Name)}
	}
	near := x.nearLOQ() && y.nearLOQ()
	judge := func(p, q float64) judgement {
		j := judgement{verdict: Pass, statistic: r.Statistic, high: r.High, unit: "%"}
		var v float64
		switch {
		case near:
			// The smaller LOQ where dilutions differ: the stricter limit.
			limit := min(*x.loq, *y.loq)
			v, j.statistic, j.high, j.unit = math.Abs(p-q), statisticDiff, &limit, a.Unit
		case r.Statistic == statisticRPD:
			v = rule.RelativePercentDifference(p, q)
		default:
			v = rule.RSD(p, q)
		}
		j.observed = &v
		j.reason = fmt.Sprintf("%s: %s of %s is %s %s (limit %s %s)", names, j.statistic, a.Name, besideLimits(v, nil, j.high), j.unit, between(nil, j.high), j.unit)
		switch {
		case number(&v) == nil:
			j.verdict, j.reason = NotEvaluable, fmt.Sprintf("%s: %s of %s is not a number", names, j.statistic, a.Name)
		case !rule.Within(v, nil, j.high):
			j.verdict = Fail
		}
		return j
	}
	least, most := judge(x.high, y.high), judge(x.low, y.low)
	if least.verdict != most.verdict {
		return unevaluable("%s: one of them is not found, which leaves open whether %s agrees", names, a.Name)
	}
	return least
}

// nearLOQ tells whether the amount is below five times the LOQ; without LOQ it never is.
func (p portion) nearLOQ() bool {
	return p.loq != nil && !rule.AtLeast(p.high, nearLOQ**p.loq)
}

// portion gives an entry's amount for the undiluted sample. What is not found lies
// between nothing and the LOD.
func (e *evaluator) portion(m *entry, analyte int) (portion, *judgement) {
	q, l, d := e.quantity(m, analyte), e.limits(m, analyte), m.Line.Dilution
	o := e.outcome(m, analyte)
	p := portion{low: q.amount * d, high: q.amount * d, loq: scaled(l.loq, d)}
	p.censored = o.censored == CensorBelowLOD || o.censored == CensorBelowLOQ
	switch {
	case o.problem != nil && q.state == readNothing:
		return p, &q.why
	case o.problem != nil || o.censored == CensorAbove:
		j := unevaluable("%s: no amount of %s within the working range", m.name(), e.method.Analytes[analyte].Name)
		return p, &j
	case q.state != readFound:
		p.low, p.high = 0, o.limit
	}
	return p, nil
}
