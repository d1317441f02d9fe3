package qc

import (
	"fmt"
	"slices"
	"strings"

	"underbond/qc/method"
	"underbond/qc/unit"
	"underbond/qc/worklist"
)

// identities holds the lines that more than one acquisition claims.
func (e *evaluator) identities() {
	for _, m := range e.entries {
		if m.State != MemberAmbiguous {
			continue
		}
		keys := make([]string, len(m.Claimants))
		for i, c := range m.Claimants {
			keys[i] = c.Key
		}
		s := subject{rule: method.RuleIdentity, scope: method.ScopeSample}.at(m)
		e.record(s, judgement{
			verdict: Fail, waiting: e.absence(m).waiting,
			reason: fmt.Sprintf("%d acquisitions claim the %s: %s", len(keys), m.name(), strings.Join(keys, ", ")),
		}, edge{positions: []int{m.Line.Position}})
	}
}

// registrations holds what is measured of samples that no register knows.
func (e *evaluator) registrations() {
	positions := map[string][]int{}
	var order []string
	for _, m := range e.entries {
		if m.Line.Role != worklist.RoleSample {
			continue
		}
		if positions[m.Line.Sample] == nil {
			order = append(order, m.Line.Sample)
		}
		positions[m.Line.Sample] = append(positions[m.Line.Sample], m.Line.Position)
	}
	for _, id := range order {
		s := subject{rule: method.RuleRegistered, scope: method.ScopeSample, key: id, words: "sample " + id, positions: positions[id]}
		j := judgement{verdict: Pass, reason: fmt.Sprintf("sample %s is registered", id)}
		if e.samples[id] == nil {
			j = judgement{verdict: e.closedOr(Pending), reason: fmt.Sprintf("sample %s is in no register", id)}
			if j.verdict == Pending {
				j.waiting = fmt.Sprintf("the registration of sample %s", id)
			}
		}
		e.record(s, j, edge{positions: positions[id]})
	}
}

// measurements records the working range where the method lists it or it is left, and
// analytes that an acquisition gives no amount of. The passing of the latter is the
// result itself and makes no check.
func (e *evaluator) measurements() {
	for _, m := range e.entries {
		if m.Line.Role != worklist.RoleSample || m.State != MemberRecorded {
			continue
		}
		for i := range e.method.Analytes {
			a := &e.method.Analytes[i]
			o := e.outcome(m, i)
			cover := edge{analyte: a.Name, positions: []int{m.Line.Position}}
			source, listed := e.rangeRule(a.Name)
			if listed || o.span.verdict == Fail {
				s := subject{rule: method.RuleRange, scope: method.ScopeSample, source: source, analyte: a.Name}.at(m)
				e.record(s, o.span, cover)
			}
			if o.problem != nil && o.fault {
				s := subject{rule: method.RuleMeasured, scope: method.ScopeSample, analyte: a.Name}.at(m)
				e.record(s, *o.problem, cover)
			}
		}
	}
}

func (e *evaluator) rangeRule(analyte string) (source string, listed bool) {
	for i := range e.method.Rules {
		if r := &e.method.Rules[i]; r.Rule == method.RuleRange && concerns(r, analyte) {
			return r.Source, true
		}
	}
	return "", false
}

// strength is a sample's alcoholic strength as far as it can be used.
type strength struct {
	percent  float64
	standard *float64 // standard uncertainty of percent
	pin      Pin
	why      judgement // verdict Pass when percent holds
}

// The one quantity that a result per volume of pure alcohol is computed with.
const (
	quantityStrength = "strength"
	strengthReal     = "real"
	strengthApparent = "apparent"
	strengthUnit     = "% vol"
)

func (e *evaluator) strengthOf(sample string) strength {
	var real, others []*Related
	for _, r := range e.related[sample] {
		switch {
		case r.Quantity != quantityStrength:
		case r.Kind == strengthReal:
			real = append(real, r)
		default:
			others = append(others, r)
		}
	}
	waiting := fmt.Sprintf("the real strength of sample %s", sample)
	switch {
	case len(real) == 0 && len(others) > 0:
		return strength{why: judgement{verdict: Pending, waiting: waiting,
			reason: fmt.Sprintf("the strength of sample %s is %s; a result per volume of pure alcohol needs the real one", sample, others[0].Kind)}}
	case len(real) == 0:
		return strength{why: judgement{verdict: Pending, waiting: waiting, reason: fmt.Sprintf("no strength of sample %s is known", sample)}}
	case len(real) > 1:
		return strength{why: unevaluable("%d real strengths of sample %s are given", len(real), sample)}
	}
	r := real[0]
	percent, err := unit.Convert(r.Value, r.Unit, strengthUnit)
	if err != nil {
		return strength{why: unevaluable("strength of sample %s: %v", sample, err)}
	}
	j := judgement{statistic: quantityStrength, observed: &percent, unit: strengthUnit}
	if !(percent > 0 && percent <= 100) {
		j.verdict, j.reason = NotEvaluable, fmt.Sprintf("the strength of sample %s is %s %s", sample, words(percent), strengthUnit)
		return strength{why: j}
	}
	j.verdict, j.reason = Pass, fmt.Sprintf("the real strength of sample %s is %s %s", sample, words(percent), strengthUnit)
	s := strength{percent: percent, pin: Pin{Result: r.Result, Revision: r.Revision}, why: j}
	if r.Uncertainty != nil {
		u, err := unit.Convert(*r.Uncertainty, r.Unit, strengthUnit)
		if err != nil || u < 0 {
			return strength{why: unevaluable("the strength of sample %s has the standard uncertainty %s %s", sample, words(*r.Uncertainty), r.Unit)}
		}
		s.standard = &u
	}
	return s
}

// strengths records for each sample whether its strength allows results per volume of
// pure alcohol, which is all that it covers.
func (e *evaluator) strengths() {
	var analytes []string
	for i := range e.method.Analytes {
		if e.method.Analytes[i].Report.PerAlcohol != nil {
			analytes = append(analytes, e.method.Analytes[i].Name)
		}
	}
	if len(analytes) == 0 {
		return
	}
	positions := map[string][]int{}
	for _, m := range e.entries {
		if m.Line.Role == worklist.RoleSample {
			positions[m.Line.Sample] = append(positions[m.Line.Sample], m.Line.Position)
		}
	}
	for _, m := range e.entries {
		id := m.Line.Sample
		if m.Line.Role != worklist.RoleSample || positions[id][0] != m.Line.Position {
			continue
		}
		s := e.strengthOf(id)
		e.strength[id] = s
		var edges []edge
		for _, a := range analytes {
			edges = append(edges, edge{analyte: a, basis: BasisPerAlcohol, positions: slices.Clone(positions[id])})
		}
		sub := subject{rule: method.RuleStrength, scope: method.ScopeSample, key: id, words: "strength of sample " + id, positions: positions[id]}
		e.record(sub, s.why, edges...)
	}
}
