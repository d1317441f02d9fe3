package qc

import (
	"fmt"
	"strings"
	"time"

	"underbond/parsers"
	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// standardValidity judges the standards that recorded lines name. What fails holds
// everything computed with it: what the curve of a calibration standard quantifies,
// what a check standard covers, an entry itself.
func (e *evaluator) standardValidity() {
	for _, m := range e.entries {
		if m.State != MemberRecorded || len(m.Line.Standards) == 0 {
			continue
		}
		s := subject{rule: method.RuleStandardValidity, scope: scopeOfStandard(m)}.at(m)
		e.record(s, e.validity(m), e.computedWith(m)...)
	}
}

func scopeOfStandard(m *entry) string {
	switch m.Line.Role {
	case worklist.RoleStandard, worklist.RoleInitialCheck:
		return method.ScopeCalibration
	case worklist.RoleCheck:
		return method.ScopeRun
	}
	return method.ScopeSample
}

func (e *evaluator) computedWith(m *entry) []edge {
	var edges []edge
	for i := range e.method.Analytes {
		name := e.method.Analytes[i].Name
		switch m.Line.Role {
		case worklist.RoleStandard:
			for _, run := range e.runs {
				// A curve serves several runs: its edges are equal then and count once.
				c := e.curves[curveKey{run, i}]
				if c != nil && c.run == m.Line.Run && run == c.serves[0] && e.nominal(m, i).state != nominalNone {
					edges = append(edges, edge{analyte: name, positions: e.servedBy(c)})
				}
			}
		case worklist.RoleCheck, worklist.RoleInitialCheck:
			if positions := e.bracket[bracketKey{m.Line.Position, i}]; len(positions) > 0 {
				edges = append(edges, edge{analyte: name, positions: positions})
			}
		}
	}
	if m.isMeasured() {
		edges = append(edges, edge{positions: []int{m.Line.Position}})
	}
	return edges
}

// validity judges the standards of one line on the day of its acquisition.
func (e *evaluator) validity(m *entry) judgement {
	var failed, open []string
	for _, id := range m.Line.Standards {
		s := e.lists[id]
		if s == nil {
			failed = append(failed, fmt.Sprintf("standard %s of the %s is in no standards list", id, m.name()))
			continue
		}
		switch verdict, why := inDate(s, m.Started); verdict {
		case Fail:
			failed = append(failed, fmt.Sprintf("standard %s of the %s %s", id, m.name(), why))
		case NotEvaluable:
			open = append(open, fmt.Sprintf("standard %s of the %s %s", id, m.name(), why))
		}
		if m.Line.Role == worklist.RoleInitialCheck {
			if other := e.calibrantOfSameSource(s); other != nil {
				failed = append(failed, fmt.Sprintf("standard %s of the %s has lot and maker of calibration standard %s and cannot verify it", id, m.name(), other.ID))
			}
		}
	}
	switch {
	case len(failed) > 0:
		return judgement{verdict: Fail, reason: strings.Join(append(failed, open...), "; ")}
	case len(open) > 0:
		return unevaluable("%s", strings.Join(open, "; "))
	}
	return judgement{verdict: Pass, reason: fmt.Sprintf("the standards of the %s are listed and in date", m.name())}
}

// inDate compares a standard's last day of use with the local date of an acquisition.
func inDate(s *standard.Standard, started parsers.Started) (verdict, why string) {
	if s.Expires == "" {
		return Fail, "has no expiry date"
	}
	expires, err := time.Parse(time.DateOnly, s.Expires)
	if err != nil {
		return Fail, fmt.Sprintf("has the expiry date %q, which is no date", s.Expires)
	}
	used, err := time.Parse(parsers.LocalLayout, started.Local)
	if err != nil {
		return NotEvaluable, fmt.Sprintf("expires on %s, and the date of the acquisition is not known", s.Expires)
	}
	if used.Truncate(24 * time.Hour).After(expires) {
		return Fail, fmt.Sprintf("expired on %s, before its use on %s", s.Expires, used.Format(time.DateOnly))
	}
	return Pass, ""
}

// calibrantOfSameSource finds a calibration standard of the batch that is no second
// source to s: the same standard, or one of the same lot and maker.
func (e *evaluator) calibrantOfSameSource(s *standard.Standard) *standard.Standard {
	for _, run := range e.runs {
		for _, m := range e.calibrants[run] {
			for _, id := range m.Line.Standards {
				c := e.lists[id]
				if c != nil && (c.ID == s.ID || sameName(c.Lot, s.Lot) && sameName(c.Maker, s.Maker)) {
					return c
				}
			}
		}
	}
	return nil
}
