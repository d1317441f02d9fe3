package qc

import (
	"fmt"
	"slices"
	"strings"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/unit"
)

// notices gives the notices that concern a result: by analyte, basis and the sample's
// category in the register. bound is a censored result's limit in its unit. They inform; nothing here releases or holds.
func (e *evaluator) notices(r *Result, bound *float64) []NoticeGiven {
	given := []NoticeGiven{}
	facts := e.samples[r.Sample]
	if facts == nil || r.Value == nil && r.Censored == CensorNone {
		return given
	}
	for i := range e.method.Notices {
		n := &e.method.Notices[i]
		ofCategory := func(c string) bool { return sameName(c, facts.Category) }
		if n.Analyte != r.Analyte || n.Basis != r.Basis || len(n.Categories) > 0 && !slices.ContainsFunc(n.Categories, ofCategory) {
			continue
		}
		limit, err := unit.Convert(n.High, n.Unit, r.Unit)
		if err != nil {
			continue // only a limit beyond the range of a double; units were compared at the start
		}
		given = append(given, notice(n, r, outcomeOf(r, bound, limit)))
	}
	return given
}

// outcomeOf compares a result with a limit in its unit. bound is the number of a censored
// result; it is on one side of the limit or decides nothing.
func outcomeOf(r *Result, bound *float64, limit float64) string {
	switch {
	case r.Value != nil && rule.AtMost(*r.Value, limit):
		return OutcomeBelow
	case r.Value != nil:
		return OutcomeAbove
	case r.Censored == CensorAbove && bound != nil && rule.AtLeast(*bound, limit):
		return OutcomeAbove
	case r.Censored != CensorAbove && bound != nil && rule.AtMost(*bound, limit):
		return OutcomeBelow
	}
	return OutcomeUndecided
}

func notice(n *method.Notice, r *Result, outcome string) NoticeGiven {
	relation := "is " + outcome
	if outcome == OutcomeUndecided {
		relation = "does not decide on the limit"
	}
	text := fmt.Sprintf("%s %s %s %s of %s %s (%s).", r.Analyte, r.Reported, r.Unit, relation, words(n.High), n.Unit, n.Act)
	unconfirmed := r.Disposition == Held
	if unconfirmed {
		text += " Unconfirmed: the result is held."
	}
	return NoticeGiven{
		Analyte: r.Analyte, Limit: n.High, Unit: n.Unit, Act: n.Act, Outcome: outcome, Toxic: n.Toxic,
		Unconfirmed: unconfirmed, Text: strings.TrimSpace(text + " " + n.Caution),
	}
}
