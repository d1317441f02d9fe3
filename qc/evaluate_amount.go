package qc

import (
	"fmt"
	"math"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/unit"
)

// quantity is the amount of an analyte in the measured solution, before dilution is
// taken into account, in the analyte's unit.
type quantity struct {
	state    readState
	amount   float64   // or the bound of a censored cell
	standard float64   // standard error of the amount by the calibration; NaN when there is none
	why      judgement // verdict, reason and waiting unless there is an amount
	// fault: the acquisition itself does not give the amount, as opposed to an absent
	// acquisition or calibration.
	fault bool
}

func unknown(fault bool, j judgement) *quantity {
	return &quantity{state: readNothing, why: j, fault: fault}
}

func unevaluable(format string, args ...any) judgement {
	return judgement{verdict: NotEvaluable, reason: fmt.Sprintf(format, args...)}
}

// quantity computes an entry's amount of an analyte once. The curves are final by then.
func (e *evaluator) quantity(m *entry, analyte int) *quantity {
	if m.quantities[analyte] == nil {
		m.quantities[analyte] = e.quantify(m, analyte)
	}
	return m.quantities[analyte]
}

func (e *evaluator) quantify(m *entry, analyte int) *quantity {
	if m.State != MemberRecorded {
		return unknown(false, e.absence(m))
	}
	a := &e.method.Analytes[analyte]
	fault := func(why string) *quantity {
		return unknown(true, unevaluable("%s, %s: %s", m.name(), a.Name, why))
	}
	r := e.response(m, analyte)
	if r.state == readNothing {
		return fault(r.reason)
	}
	c := e.curve(m, analyte)
	if c != nil && !c.rises {
		return unknown(false, c.without())
	}
	if (r.state == readNotFound || r.state == readBelow) && !e.proven(m, analyte) {
		return fault(r.reason + ", and nothing in the acquisition shows that it would have been seen")
	}
	if r.state == readNotFound {
		return &quantity{state: readNotFound, why: judgement{reason: r.reason}}
	}
	var amount float64
	var above bool
	var err error
	standard := math.NaN()
	switch {
	case c == nil:
		amount, err = plainAmount(a, r)
	case r.unit != c.responseUnit:
		err = fmt.Errorf("the response is in %q, those of the calibration standards in %q", r.unit, c.responseUnit)
	default:
		amount, standard, above, err = c.amount(r.value)
	}
	switch {
	case above && r.state == readBelow:
		return fault(r.reason + ", and the calibration function does not reach so far")
	case above:
		return &quantity{state: readAbove, amount: *c.high, standard: math.NaN(), why: judgement{reason: "a response above all that the calibration function reaches"}}
	case err != nil:
		return fault(err.Error())
	case math.IsNaN(amount) || math.IsInf(amount, 0):
		return fault("the amount is not a number")
	}
	return &quantity{state: r.state, amount: amount, standard: standard, why: judgement{reason: r.reason}}
}

// plainAmount is the instrument's own value in the analyte's unit, times the method's factor.
func plainAmount(a *method.Analyte, r reading) (float64, error) {
	v := r.value
	if r.unit != "" && r.unit != a.Unit {
		var err error
		if v, err = unit.Convert(v, r.unit, a.Unit); err != nil {
			return 0, err
		}
	}
	if a.Calibration.Factor != nil {
		v *= *a.Calibration.Factor
	}
	return v, nil
}

// limits are an analyte's limits in the measured solution, in its unit; nil where there is none.
type limits struct {
	lod, loq, low, high *float64
}

// limits gives the limits that hold for an entry. The LOQ is the validated one and never
// below the lowest verified level.
func (e *evaluator) limits(m *entry, analyte int) limits {
	a := &e.method.Analytes[analyte]
	l := limits{lod: a.LOD, loq: a.LOQ, low: a.Calibration.RangeLow, high: a.Calibration.RangeHigh}
	if c := e.curve(m, analyte); c != nil {
		l.low, l.high = c.low, c.high
	}
	if l.loq != nil && l.low != nil && *l.low > *l.loq {
		l.loq = l.low
	}
	return l
}

// outcome is what is reported of an analyte as is, in the analyte's unit and for the
// undiluted sample.
type outcome struct {
	value    *float64
	censored string
	limit    float64 // of a censored outcome
	lod, loq *float64
	// problem: there is neither a value nor a limit.
	problem *judgement
	fault   bool      // the acquisition is to blame, not the calibration or the working range
	span    judgement // of the working range
}

func (e *evaluator) outcome(m *entry, analyte int) *outcome {
	if m.outcomes[analyte] == nil {
		m.outcomes[analyte] = e.decide(m, analyte)
	}
	return m.outcomes[analyte]
}

func (e *evaluator) decide(m *entry, analyte int) *outcome {
	a := &e.method.Analytes[analyte]
	q, l, d := e.quantity(m, analyte), e.limits(m, analyte), m.Line.Dilution
	o := &outcome{lod: scaled(l.lod, d), loq: scaled(l.loq, d)}
	censor := func(how string, limit float64) *outcome {
		o.censored, o.limit = how, limit*d
		return o
	}
	trouble := func(fault bool, j judgement) *outcome {
		o.problem, o.fault = &j, fault
		return o
	}
	open := func(format string, args ...any) *outcome {
		return trouble(true, unevaluable("%s, %s: %s", m.name(), a.Name, fmt.Sprintf(format, args...)))
	}
	o.span = span(q, l, a.Unit, m.name(), a.Name)
	switch q.state {
	case readNothing:
		return trouble(q.fault, q.why)
	case readNotFound:
		switch {
		case l.lod != nil:
			return censor(CensorBelowLOD, *l.lod)
		case l.loq != nil:
			return censor(CensorBelowLOQ, *l.loq)
		}
		return open("%s, and the method gives no LOD", q.why.reason)
	case readBelow:
		switch {
		case l.lod != nil && rule.AtMost(q.amount, *l.lod):
			return censor(CensorBelowLOD, *l.lod)
		case l.loq != nil && rule.AtMost(q.amount, *l.loq):
			return censor(CensorBelowLOQ, *l.loq)
		}
		return open("%s, which is not below the method's own limits", q.why.reason)
	case readAbove:
		if l.high != nil {
			return censor(CensorAbove, *l.high)
		}
		return censor(CensorAbove, q.amount)
	}
	switch {
	case l.high != nil && !rule.AtMost(q.amount, *l.high):
		return censor(CensorAbove, *l.high)
	case l.loq != nil && !rule.AtLeast(q.amount, -*l.loq):
		return open("%s %s is further below zero than the LOQ of %s %s", words(q.amount), a.Unit, words(*l.loq), a.Unit)
	case l.loq != nil && !rule.AtLeast(q.amount, *l.loq):
		if l.lod != nil && !rule.AtLeast(q.amount, *l.lod) {
			return censor(CensorBelowLOD, *l.lod)
		}
		return censor(CensorBelowLOQ, *l.loq)
	case l.loq == nil && l.low != nil && !rule.AtLeast(q.amount, *l.low):
		return trouble(false, judgement{reason: o.span.reason})
	}
	value := q.amount * d
	if math.IsInf(value, 0) {
		return open("the amount times the dilution is not a number")
	}
	o.value = &value
	return o
}

// span judges the measured solution against the working range. Below the LOQ is no
// matter of the range but of censoring.
func span(q *quantity, l limits, unitText, name, analyte string) judgement {
	j := judgement{statistic: "amount in the measured solution", unit: unitText, low: l.low, high: l.high}
	if l.loq != nil {
		j.low = nil
	}
	switch {
	case q.state == readAbove:
		j.verdict, j.reason = Fail, fmt.Sprintf("%s: %s of %s, above what there is a number for", name, q.why.reason, analyte)
		return j
	case q.state == readNothing:
		return q.why
	case q.state != readFound:
		j.verdict, j.reason = NotApplicable, fmt.Sprintf("%s: there is no amount of %s to compare", name, analyte)
		return j
	case j.low == nil && j.high == nil:
		j.verdict, j.reason = NotApplicable, "the method gives no working range for "+analyte
		return j
	}
	j.observed = &q.amount
	j.verdict = Pass
	verb := "is within"
	if !rule.Within(q.amount, j.low, j.high) {
		j.verdict, verb = Fail, "is outside"
	}
	j.reason = fmt.Sprintf("%s: %s %s %s in the measured solution %s the working range (%s %s)", name, besideLimits(q.amount, j.low, j.high), unitText, analyte, verb, between(j.low, j.high), unitText)
	return j
}

func scaled(v *float64, by float64) *float64 {
	if v == nil {
		return nil
	}
	s := *v * by
	return number(&s)
}
