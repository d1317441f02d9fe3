package qc

import (
	"fmt"
	"strings"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/worklist"
)

// internalStandards judges the internal standard's response in every acquisition that
// should have it, against its mean in the calibration standards. In a test portion a
// failure holds that acquisition; a check or calibration that it spoils fails itself.
func (e *evaluator) internalStandards(r *method.Rule) {
	for _, m := range e.entries {
		if m.State != MemberRecorded || m.Line.Role == worklist.RoleCalBlank {
			continue
		}
		s := subject{rule: r.Rule, scope: method.ScopeSample, source: r.Source}.at(m)
		var edges []edge
		if m.isMeasured() {
			for _, a := range analytesOf(r) {
				edges = append(edges, edge{analyte: a, positions: []int{m.Line.Position}})
			}
		}
		e.record(s, e.internalResponseVerdict(r, m), edges...)
	}
}

// analytesOf gives the analytes that a rule names; one empty name stands for all.
func analytesOf(r *method.Rule) []string {
	if len(r.Analytes) == 0 {
		return []string{""}
	}
	return r.Analytes
}

// internalResponseVerdict judges an entry by a rule once; every analyte asks for it.
func (e *evaluator) internalResponseVerdict(r *method.Rule, m *entry) judgement {
	j, judged := m.internal[r]
	if !judged {
		j = e.judgeInternal(r, m)
		if m.internal == nil {
			m.internal = map[*method.Rule]judgement{}
		}
		m.internal[r] = j
	}
	return j
}

func (e *evaluator) judgeInternal(r *method.Rule, m *entry) judgement {
	is := e.method.InternalStandard
	if is == nil {
		return unevaluable("the method names no internal standard")
	}
	found := e.internalResponse(m)
	if found.state != readFound {
		return unevaluable("internal standard %s in the %s: %s", is.Name, m.name(), found.reason)
	}
	reference, absent := e.internalReference(m.Line.Run)
	if absent != nil {
		return *absent
	}
	percent := rule.PercentOfMean(found.value, reference)
	j := judgement{statistic: "percent of mean response", observed: &percent, low: r.Low, high: r.High, unit: "%"}
	if number(&percent) == nil {
		j.verdict, j.reason = NotEvaluable, fmt.Sprintf("internal standard %s in the %s: its share of the mean is not a number", is.Name, m.name())
		return j
	}
	j.verdict = Pass
	if !rule.Within(percent, r.Low, r.High) {
		j.verdict = Fail
	}
	j.reason = fmt.Sprintf("internal standard %s in the %s has %s %% of its mean response in the calibration standards (limit %s %%)",
		is.Name, m.name(), besideLimits(percent, r.Low, r.High), between(r.Low, r.High))
	return j
}

// internalReference gives the internal standard's responses in the calibration standards
// that serve a run.
func (e *evaluator) internalReference(run string) ([]float64, *judgement) {
	from := run
	if len(e.calibrants[run]) == 0 {
		for i := range e.method.Analytes {
			if c := e.curves[curveKey{run, i}]; c != nil && c.run != run {
				from = c.run
				break
			}
		}
	}
	ref := e.references[from]
	if ref == nil {
		ref = &reference{}
		ref.responses, ref.absent = e.readReference(from)
		e.references[from] = ref
	}
	return ref.responses, ref.absent
}

// reference are the internal standard's responses in one run's calibration standards.
type reference struct {
	responses []float64
	absent    *judgement // why there are none
}

func (e *evaluator) readReference(run string) ([]float64, *judgement) {
	if len(e.calibrants[run]) == 0 {
		return nil, &judgement{verdict: Missing, reason: fmt.Sprintf("no calibration standard serves run %s", run)}
	}
	var responses []float64
	for _, m := range e.calibrants[run] {
		if m.State != MemberRecorded {
			j := e.absence(m)
			return nil, &j
		}
		is := e.internalResponse(m)
		if is.state != readFound {
			j := unevaluable("internal standard %s in the %s: %s", e.method.InternalStandard.Name, m.name(), is.reason)
			return nil, &j
		}
		responses = append(responses, is.value)
	}
	return responses, nil
}

// internalFault says whether the internal standard spoils an entry for an analyte: the
// verdict is Pass when nothing speaks against it.
func (e *evaluator) internalFault(m *entry, analyte int) judgement {
	worst := judgement{verdict: Pass}
	var reasons []string
	for i := range e.method.Rules {
		r := &e.method.Rules[i]
		if r.Rule != method.RuleInternalStandard || !concerns(r, e.method.Analytes[analyte].Name) {
			continue
		}
		j := e.internalResponseVerdict(r, m)
		if j.verdict == Pass {
			continue
		}
		reasons = append(reasons, j.reason)
		if worst.verdict != Fail {
			worst = judgement{verdict: j.verdict, waiting: j.waiting}
		}
	}
	worst.reason = strings.Join(reasons, "; ")
	return worst
}
