package qc

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"underbond/qc/method"
	"underbond/qc/rule"
	"underbond/qc/unit"
	"underbond/qc/worklist"
)

// results gives one result for each analyte and basis of each acquisition of a sample.
// A line without acquisition has none; one that several claim has one for each, held.
func (e *evaluator) results() []Result {
	var out []*Result
	for _, m := range e.entries {
		if m.Line.Role != worklist.RoleSample {
			continue
		}
		for i := range e.method.Analytes {
			a := &e.method.Analytes[i]
			for _, basis := range basesOf(a) {
				switch m.State {
				case MemberRecorded:
					r := e.blankResult(m, a, basis, *m.Acquisition)
					bound := e.fill(&r, m, i)
					e.dispose(&r)
					r.Notices = e.notices(&r, bound)
					out = append(out, &r)
				case MemberAmbiguous:
					for _, ref := range m.Claimants {
						r := e.blankResult(m, a, basis, ref)
						e.dispose(&r)
						out = append(out, &r)
					}
				}
			}
		}
	}
	return arranged(out, compareResults)
}

// compareResults stops at the first difference, as results are many. No two have one id.
func compareResults(a, b *Result) int {
	if a.Position != b.Position {
		return cmp.Compare(a.Position, b.Position)
	}
	if c := strings.Compare(a.Analyte, b.Analyte); c != 0 {
		return c
	}
	if c := strings.Compare(a.Basis, b.Basis); c != 0 {
		return c
	}
	return strings.Compare(a.ID, b.ID)
}

func basesOf(a *method.Analyte) []string {
	if a.Report.PerAlcohol != nil {
		return []string{BasisAsIs, BasisPerAlcohol}
	}
	return []string{BasisAsIs}
}

// blankResult is a result with nothing found yet.
func (e *evaluator) blankResult(m *entry, a *method.Analyte, basis string, ref AcquisitionRef) Result {
	r := Result{
		ID:     joinEscaped("|", e.in.Batch.Name, ref.Instrument, ref.Key, a.Name, basis),
		Sample: m.Line.Sample, Acquisition: ref, Position: m.Line.Position, Analyte: a.Name, CAS: a.CAS,
		Basis: basis, Unit: a.Report.Unit, Qualifiers: []string{}, Uses: []Pin{}, Notices: []NoticeGiven{},
	}
	if basis == BasisPerAlcohol {
		r.Unit = a.Report.PerAlcohol.Unit
		return r
	}
	r.Quantity, r.Kind = a.Quantity, a.StrengthKind
	if a.Quantity == quantityStrength && a.Source.Density != nil {
		r.Kind = cmp.Or(r.Kind, strengthApparent)
	}
	return r
}

// fill computes a result's value on its basis, or the bound of a censored one, which it returns.
func (e *evaluator) fill(r *Result, m *entry, analyte int) (bound *float64) {
	a := &e.method.Analytes[analyte]
	convert := func(v float64) (float64, error) {
		if a.Unit == r.Unit && number(&v) != nil { // the unit is known to be one
			return v, nil
		}
		return unit.Convert(v, a.Unit, r.Unit)
	}
	decimals, significant := a.Report.Decimals, a.Report.Significant
	if r.Basis == BasisPerAlcohol {
		s := e.strength[r.Sample]
		if s.why.verdict != Pass {
			return nil
		}
		r.Uses = append(r.Uses, s.pin)
		decimals, significant = a.Report.PerAlcohol.Decimals, a.Report.PerAlcohol.Significant
		convert = func(v float64) (float64, error) { return unit.PerAlcohol(v, a.Unit, s.percent, r.Unit) }
	}
	o := e.outcome(m, analyte)
	given := func(v *float64) *float64 {
		if v == nil {
			return nil
		}
		c, err := convert(*v)
		if err != nil {
			return nil
		}
		return &c
	}
	r.LOD, r.LOQ = given(o.lod), given(o.loq)
	if v := given(o.value); v != nil {
		if text, err := Round(*v, decimals, significant); err == nil {
			r.Value, r.Reported = v, text
			e.uncertain(r, m, analyte, *o.value, convert)
		}
	}
	if o.censored == CensorNone {
		return nil
	}
	if bound = given(&o.limit); bound != nil {
		if text, err := limitText(*bound, o.censored, decimals, significant); err == nil {
			r.Censored, r.Reported = o.censored, text
		}
	}
	return bound
}

// limitText gives "< LOQ" or "> limit". A limit whose rounding would claim more than was
// found ("< 0.2" for 0.25) is written out instead.
func limitText(limit float64, censored string, decimals, significant *int) (string, error) {
	text, err := Round(limit, decimals, significant)
	if err != nil {
		return "", err
	}
	rounded, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return "", err
	}
	sign, honest := "< ", rule.AtLeast(rounded, limit)
	if censored == CensorAbove {
		sign, honest = "> ", rule.AtMost(rounded, limit)
	}
	if !honest {
		text = words(limit)
	}
	return sign + text, nil
}

// dispose says whether a result is clear. What has neither value nor limit never is.
func (e *evaluator) dispose(r *Result) {
	r.HeldBy, r.WaitingFor, r.Disposition = e.heldBy(r.Analyte, r.Basis, r.Position), []string{}, Clear
	for _, id := range r.HeldBy {
		if w := e.waits[id]; w != "" && !slices.Contains(r.WaitingFor, w) {
			r.WaitingFor = append(r.WaitingFor, w)
		}
	}
	slices.Sort(r.WaitingFor)
	if len(r.HeldBy) > 0 || r.Value == nil && r.Censored == CensorNone {
		r.Disposition = Held
	}
}
