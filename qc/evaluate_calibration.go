package qc

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"underbond/qc/calibration"
	"underbond/qc/method"
	"underbond/qc/rule"
)

// judgeCurve collects the points, fits and accepts or not.
func (e *evaluator) judgeCurve(c *curve) {
	a := &e.method.Analytes[c.analyte]
	if j, absent := e.awaitedCalibrants(c); absent {
		c.verdict, c.reasons = j, []string{j.reason}
		return
	}
	var faults []string
	for _, m := range c.calibrants {
		p, responseUnit, why := e.point(m, c.analyte)
		if why == "" && len(c.points) > 0 && responseUnit != c.responseUnit {
			why = fmt.Sprintf("its response is in %q, others in %q", responseUnit, c.responseUnit)
		}
		if why != "" {
			faults = append(faults, fmt.Sprintf("the %s: %s", m.name(), why))
			continue
		}
		c.responseUnit = responseUnit
		c.points = append(c.points, p)
	}
	if len(faults) > 0 {
		c.reasons = faults
		c.verdict = unevaluable("%s", strings.Join(faults, "; "))
		return
	}
	c.levels = levels(c.points)
	if err := c.fitPoints(&a.Calibration); err != nil {
		c.reasons = []string{err.Error()}
		c.verdict = judgement{verdict: Fail, reason: err.Error()}
		if errors.Is(err, calibration.ErrNotFinite) {
			c.verdict.verdict = NotEvaluable
		}
		return
	}
	c.setRange(a)
	c.reasons = append(c.reasons, c.fitFaults()...)
	if c.rises {
		c.backCalculate()
	}
	c.reasons = append(c.reasons, e.lateCalibrants(c)...)
	for _, m := range c.calibrants {
		if why := e.internalFault(m, c.analyte); why.verdict != Pass {
			c.reasons = append(c.reasons, why.reason)
		}
	}
	c.verdict = c.figure()
	for _, accept := range e.acceptance(a.Name) {
		c.reasons = append(c.reasons, c.unacceptable(accept)...)
		c.verdict.low = stricter(c.verdict.low, c.ownLimit(accept))
	}
	made := "make a point to point function"
	if c.fit.Model != calibration.ModelPointToPoint {
		made = fmt.Sprintf("give r² %s (limit %s)", besideLimits(c.fit.RSquared, c.verdict.low, nil), between(c.verdict.low, nil))
	}
	c.verdict.reason = fmt.Sprintf("%d calibration standards of %s at %d levels %s and are accepted", len(c.points), a.Name, len(c.levels), made)
	if len(c.reasons) > 0 {
		c.verdict.verdict, c.verdict.reason = Fail, strings.Join(c.reasons, "; ")
	}
}

// figure begins the verdict with what is shown of a curve: r², or the levels where the
// function has none.
func (c *curve) figure() judgement {
	if c.fit.Model == calibration.ModelPointToPoint {
		n := float64(len(c.levels))
		return judgement{verdict: Pass, statistic: "levels", observed: &n, unit: "1"}
	}
	return judgement{verdict: Pass, statistic: "r²", observed: number(&c.fit.RSquared), unit: "1"}
}

// ownLimit is the limit that a rule has for the figure shown.
func (c *curve) ownLimit(accept *method.Rule) *float64 {
	if c.fit.Model == calibration.ModelPointToPoint {
		n := float64(accept.MinLevels)
		return &n
	}
	return accept.MinR2
}

func stricter(a, b *float64) *float64 {
	if a == nil || b != nil && *b > *a {
		return b
	}
	return a
}

// awaitedCalibrants waits for every calibration standard: nothing clears from part of a curve.
func (e *evaluator) awaitedCalibrants(c *curve) (judgement, bool) {
	var out judgement
	var why, waits []string
	for _, m := range c.calibrants {
		if m.State == MemberRecorded {
			continue
		}
		j := e.absence(m)
		why = append(why, j.reason)
		if j.waiting != "" {
			waits = append(waits, j.waiting)
		}
		if out.verdict != Missing {
			out.verdict = j.verdict
		}
	}
	out.reason, out.waiting = strings.Join(why, "; "), strings.Join(waits, "; ")
	return out, len(why) > 0
}

// point reads one calibrant. why says what is wrong with it.
func (e *evaluator) point(m *entry, analyte int) (p Point, responseUnit, why string) {
	n := e.nominal(m, analyte)
	if n.state != nominalKnown {
		return p, "", n.why
	}
	r := e.response(m, analyte)
	if r.state != readFound {
		return p, "", r.reason
	}
	p = Point{Position: m.Line.Position, Standard: strings.Join(m.Line.Standards, ";"), Amount: n.value / m.Line.Dilution, Response: r.value}
	if !(p.Amount >= 0) || math.IsInf(p.Amount, 0) {
		return p, "", fmt.Sprintf("its amount is %s", words(p.Amount))
	}
	return p, r.unit, ""
}

func amounts(points []Point) []float64 {
	out := make([]float64, len(points))
	for i, p := range points {
		out[i] = p.Amount
	}
	return out
}

// levels are the distinct amounts, ascending. Amounts within the guard are one level.
func levels(points []Point) []float64 {
	all := amounts(points)
	slices.Sort(all)
	return slices.CompactFunc(all, func(a, b float64) bool { return rule.AtMost(max(a, b), min(a, b)) })
}

func (c *curve) backCalculate() {
	for i := range c.points {
		p := &c.points[i]
		back := c.fit.Points[i].BackCalculated
		if p.Back = number(&back); p.Back == nil {
			continue
		}
		deviation := rule.Deviation(back, p.Amount)
		p.Deviation = number(&deviation)
	}
}

// lateCalibrants names the calibrants acquired after the first test portion of their run.
func (e *evaluator) lateCalibrants(c *curve) []string {
	var first *entry
	if run := e.inRun[c.run]; run != nil {
		first = run.firstTest
	}
	var late []string
	for _, m := range c.calibrants {
		if first != nil && m.rank > first.rank {
			late = append(late, fmt.Sprintf("the %s was acquired after the %s, which it cannot calibrate", m.name(), first.name()))
		}
	}
	return late
}

// acceptance gives the method's acceptance rules for an analyte. All hold.
func (e *evaluator) acceptance(analyte string) []*method.Rule {
	var found []*method.Rule
	for i := range e.method.Rules {
		if r := &e.method.Rules[i]; r.Rule == method.RuleCalibration && concerns(r, analyte) {
			found = append(found, r)
		}
	}
	return found
}

// concerns tells whether a rule of the method is meant for an analyte.
func concerns(r *method.Rule, analyte string) bool {
	return len(r.Analytes) == 0 || slices.Contains(r.Analytes, analyte)
}

// unacceptable lists what the acceptance rule has against a fitted curve.
func (c *curve) unacceptable(accept *method.Rule) []string {
	var why []string
	if n := len(c.levels); n < accept.MinLevels {
		why = append(why, fmt.Sprintf("%d levels (limit at least %d)", n, accept.MinLevels))
	}
	if accept.MinR2 != nil && !rule.Within(c.fit.RSquared, accept.MinR2, nil) {
		why = append(why, fmt.Sprintf("r² %s (limit at least %s)", besideLimits(c.fit.RSquared, accept.MinR2, nil), words(*accept.MinR2)))
	}
	if !c.rises {
		return why
	}
	if accept.MaxRSE != nil && !rule.Within(c.fit.RSEPercent, nil, accept.MaxRSE) {
		why = append(why, fmt.Sprintf("relative standard error %s %% (limit at most %s %%)", besideLimits(c.fit.RSEPercent, nil, accept.MaxRSE), words(*accept.MaxRSE)))
	}
	if share := c.interceptPercent(); accept.MaxIntercept != nil && !rule.Within(share, nil, accept.MaxIntercept) {
		why = append(why, fmt.Sprintf("the intercept is %s %% of the response at the lowest level (limit at most %s %%)", besideLimits(share, nil, accept.MaxIntercept), words(*accept.MaxIntercept)))
	}
	lowest, _ := c.lowestLevel()
	for _, p := range c.points {
		limit := accept.BackCalc
		if rule.AtMost(p.Amount, lowest) && accept.BackCalcFirst != nil {
			limit = accept.BackCalcFirst
		}
		if limit == nil || p.Amount == 0 {
			continue
		}
		if p.Deviation == nil {
			why = append(why, fmt.Sprintf("no amount can be calculated back at position %d", p.Position))
		} else if !rule.AtMost(math.Abs(*p.Deviation), *limit) {
			why = append(why, fmt.Sprintf("the calibration standard at position %d deviates by %s %% (limit %s %%)", p.Position, besideLimits(*p.Deviation, negated(limit), limit), words(*limit)))
		}
	}
	return why
}

// interceptPercent is the size of the response at amount zero in percent of the mean
// response at the lowest level above zero. NaN where there is none.
func (c *curve) interceptPercent() float64 {
	lowest, _ := c.lowestLevel()
	var own []float64
	for _, p := range c.points {
		if levelOf(c.levels, p.Amount) == lowest {
			own = append(own, p.Response)
		}
	}
	return rule.PercentOfMean(math.Abs(c.at(0)), own)
}

// calibrationChecks records the verdict on each curve over what it quantifies.
func (e *evaluator) calibrationChecks() {
	for _, c := range e.distinctCurves() {
		a := &e.method.Analytes[c.analyte]
		s := subject{rule: method.RuleCalibration, scope: method.ScopeCalibration, analyte: a.Name, key: "run " + c.run,
			words: fmt.Sprintf("calibration of %s in run %s", a.Name, c.run), positions: positionsOf(c.calibrants)}
		for _, accept := range e.acceptance(a.Name) {
			s.source = strings.TrimPrefix(s.source+"; "+accept.Source, "; ")
		}
		e.record(s, c.verdict, edge{analyte: a.Name, positions: e.servedBy(c)})
	}
}

// calibrations gives the fitted curves as they are shown.
func (e *evaluator) calibrations() []Calibration {
	out := []Calibration{}
	for _, c := range e.distinctCurves() {
		a := &e.method.Analytes[c.analyte]
		shown := Calibration{
			Analyte: a.Name, Run: c.run, Model: a.Calibration.Model, Weight: cmp.Or(a.Calibration.Weighting, method.WeightNone),
			Coefficients: []float64{}, StdErrors: []float64{}, Covariance: [][]float64{}, Range: []float64{}, Unit: a.Unit,
			LackOfFit: []LackOfFit{}, Exclusions: []string{}, Warnings: []string{},
			Accepted: c.verdict.verdict == Pass, Reasons: append([]string{}, c.reasons...), Points: append([]Point{}, c.points...),
		}
		c.show(&shown)
		out = append(out, shown)
	}
	return sorted(out, func(a, b *Calibration) int {
		return cmp.Or(cmp.Compare(a.Analyte, b.Analyte), cmp.Compare(a.Run, b.Run))
	})
}

// negated is the lower of two limits that lie around zero.
func negated(limit *float64) *float64 {
	low := -*limit
	return &low
}
