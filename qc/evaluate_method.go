package qc

import (
	"fmt"
	"slices"

	"underbond/qc/method"
	"underbond/qc/unit"
)

// validateMethod looks for what an evaluation could not make sense of.
func validateMethod(m *method.Method) error {
	known := make(map[string]bool, len(m.Analytes))
	for i := range m.Analytes {
		a := &m.Analytes[i]
		where := "method, analyte " + a.Name
		switch {
		case a.Name == "":
			return faulty("method", "analyte %d has no name", i+1)
		case known[a.Name]:
			return faulty(where, "is there twice")
		case !singleSource(a.Source):
			return faulty(where, "has not exactly one source")
		case a.Source.Density != nil && a.Calibration.Model != method.ModelNone:
			return faulty(where, "a strength from density has calibration model %q", a.Calibration.Model)
		case !slices.Contains(method.Models(), a.Calibration.Model):
			return faulty(where, "unknown calibration model %q", a.Calibration.Model)
		}
		known[a.Name] = true
		if err := validateUncertainty(m.UncertaintyOf(a)); err != nil {
			return faulty(where, "%v", err)
		}
		if err := validateReport(a); err != nil {
			return faulty(where, "%v", err)
		}
	}
	if m.InternalStandard != nil && !singleSource(m.InternalStandard.Source) {
		return faulty("method, internal standard", "has not exactly one source")
	}
	for i := range m.Rules {
		if err := validateRule(&m.Rules[i], fmt.Sprintf("method, rule %d", i+1), known); err != nil {
			return err
		}
	}
	for i := range m.Notices {
		if err := validateNotice(m, &m.Notices[i]); err != nil {
			return faulty(fmt.Sprintf("method, notice %d", i+1), "%v", err)
		}
	}
	return nil
}

func validateUncertainty(u *method.Uncertainty) error {
	switch {
	case u == nil:
		return nil
	case u.Approach != method.ApproachComponents && u.Approach != method.ApproachTopDown:
		return fmt.Errorf("unknown approach %q to the uncertainty", u.Approach)
	case !(u.CoverageFactor > 0):
		return fmt.Errorf("the coverage factor of the uncertainty is %v", u.CoverageFactor)
	case u.Approach == method.ApproachComponents && u.Repeatability == nil,
		u.Approach == method.ApproachTopDown && (u.Reproducibility == nil || u.Bias == nil):
		return fmt.Errorf("the uncertainty lacks figures of the approach %q", u.Approach)
	}
	return nil
}

// validateReport tries the conversions and roundings that results need.
func validateReport(a *method.Analyte) error {
	if _, err := unit.Convert(1, a.Unit, a.Report.Unit); err != nil {
		return err
	}
	if _, err := Round(1, a.Report.Decimals, a.Report.Significant); err != nil {
		return err
	}
	if pa := a.Report.PerAlcohol; pa != nil {
		if _, err := unit.PerAlcohol(1, a.Unit, 40, pa.Unit); err != nil {
			return err
		}
		if _, err := Round(1, pa.Decimals, pa.Significant); err != nil {
			return err
		}
	}
	return nil
}

// validateNotice refuses a notice that no result of the method could ever meet.
func validateNotice(m *method.Method, n *method.Notice) error {
	for i := range m.Analytes {
		a := &m.Analytes[i]
		if a.Name != n.Analyte || !slices.Contains(basesOf(a), n.Basis) {
			continue
		}
		reported := a.Report.Unit
		if n.Basis == BasisPerAlcohol {
			reported = a.Report.PerAlcohol.Unit
		}
		_, err := unit.Convert(1, n.Unit, reported)
		return err
	}
	return fmt.Errorf("the method reports no %s %s", n.Analyte, n.Basis)
}

func singleSource(s method.Source) bool {
	n := 0
	for _, set := range []bool{s.Table != nil, s.Spectrum != nil, s.Chromatogram != nil, s.Density != nil} {
		if set {
			n++
		}
	}
	return n == 1
}

// validateRule refuses a rule without limits: it would pass everything.
func validateRule(r *method.Rule, where string, known map[string]bool) error {
	for _, a := range r.Analytes {
		if !known[a] {
			return faulty(where, "the method has no analyte %q", a)
		}
	}
	switch r.Rule {
	case method.RuleCalibration, method.RuleRange:
	case method.RuleMethodBlank:
		if r.LOQFraction == nil {
			return faulty(where, "%s gives no loq_fraction", r.Rule)
		}
	case method.RuleDuplicate:
		if r.High == nil {
			return faulty(where, "%s gives no high limit", r.Rule)
		}
		if r.Statistic != statisticRSD && r.Statistic != statisticRPD {
			return faulty(where, "%s has the statistic %q; known are %q and %q", r.Rule, r.Statistic, statisticRSD, statisticRPD)
		}
		if !slices.Contains([]string{"", coversBatch, coversParent}, r.Covers) {
			return faulty(where, "%s covers %q; known are %q and %q", r.Rule, r.Covers, coversBatch, coversParent)
		}
	case method.RuleCheckStandard:
		if r.Low == nil || r.High == nil {
			return faulty(where, "%s needs a low and a high limit", r.Rule)
		}
		if !slices.Contains([]string{"", bracketsBoth, bracketsOpening}, r.Brackets) {
			return faulty(where, "%s has the brackets %q; known are %q and %q", r.Rule, r.Brackets, bracketsBoth, bracketsOpening)
		}
	case method.RuleInternalStandard:
		if r.Low == nil && r.High == nil {
			return faulty(where, "%s gives no limit", r.Rule)
		}
	default:
		return faulty(where, "unknown rule %q", r.Rule)
	}
	return nil
}
