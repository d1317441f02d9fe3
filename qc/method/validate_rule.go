package method

import (
	"fmt"
	"slices"

	"underbond/parsers/located"
)

// parameters says which keys a rule kind must and may have beside rule, analytes, scope and source.
type parameters struct{ must, may []string }

var ruleParameters = map[string]parameters{
	RuleCalibration:      {must: []string{"min_levels"}, may: []string{"min_r2", "back_calculated_percent", "back_calculated_lowest_percent", "max_rse_percent", "max_intercept_percent_of_lowest"}},
	RuleMethodBlank:      {must: []string{"loq_fraction"}},
	RuleDuplicate:        {must: []string{"statistic", "high"}, may: []string{"covers"}},
	RuleCheckStandard:    {must: []string{"low", "high"}, may: []string{"brackets"}},
	RuleRange:            {},
	RuleInternalStandard: {must: []string{"low", "high"}},
}

var ruleKinds = []string{RuleCalibration, RuleMethodBlank, RuleDuplicate, RuleCheckStandard, RuleRange, RuleInternalStandard}

// builtIn are the rules that are in force without being named.
var builtIn = []string{RuleStandardValidity, RuleRegistered, RuleIdentity, RuleStrength, RuleMeasured}

var allParameters = []string{"min_levels", "min_r2", "back_calculated_percent", "back_calculated_lowest_percent",
	"max_rse_percent", "max_intercept_percent_of_lowest", "loq_fraction", "statistic", "low", "high", "brackets", "covers"}

func (c *checker) rule(path string, r *Rule) {
	c.required(path, "rule", "source")
	if !c.Has(path + ".rule") {
		return
	}
	if slices.Contains(builtIn, r.Rule) {
		c.Fault(path+".rule", "leave it out", "rule %q is always in force and has no limits to set", r.Rule)
		return
	}
	if !c.oneOf(path+".rule", r.Rule, ruleKinds...) {
		return
	}
	want := ruleParameters[r.Rule]
	c.required(path, want.must...)
	for _, key := range allParameters {
		if c.Has(at(path, key)) && !slices.Contains(want.must, key) && !slices.Contains(want.may, key) {
			c.Fault(at(path, key), "leave it out", "%s means nothing to rule %q", key, r.Rule)
		}
	}
	c.oneOf(path+".scope", r.Scope, ScopePreparation, ScopeRun, ScopeCalibration, ScopeSample)
	c.unique(path+".analytes", r.Analytes)
	for i, name := range r.Analytes {
		c.analyte(fmt.Sprintf("%s.analytes[%d]", path, i), name)
	}
	c.limits(path, r)
	c.covered(path, r)
}

// limits checks the values of a rule's parameters.
func (c *checker) limits(path string, r *Rule) {
	switch r.Rule {
	case RuleCalibration:
		if c.Has(path+".min_levels") && r.MinLevels < 2 {
			c.Fault(path+".min_levels", "a straight line needs at least 2", "%s.min_levels is %d", path, r.MinLevels)
		}
		if r.MinR2 == nil && r.BackCalc == nil && r.MaxRSE == nil {
			c.Fault(path, "give min_r2, back_calculated_percent, max_rse_percent or several of them", "%s has no limit for the fit", path)
		}
		c.positive(path+".max_rse_percent", r.MaxRSE)
		c.positive(path+".max_intercept_percent_of_lowest", r.MaxIntercept)
		if r.MinR2 != nil && !(*r.MinR2 > 0 && *r.MinR2 <= 1) {
			c.Fault(path+".min_r2", "above 0 and at most 1", "%s.min_r2 is %v", path, *r.MinR2)
		}
		if r.BackCalcFirst != nil && r.BackCalc == nil {
			c.Fault(path+".back_calculated_lowest_percent", "give back_calculated_percent for the other levels", "%s has a limit for the lowest level only", path)
		}
		c.positive(path+".back_calculated_percent", r.BackCalc)
		c.positive(path+".back_calculated_lowest_percent", r.BackCalcFirst)
	case RuleMethodBlank:
		c.positive(path+".loq_fraction", r.LOQFraction)
	case RuleDuplicate:
		c.oneOf(path+".statistic", r.Statistic, "RSD", "relative percent difference")
		c.positive(path+".high", r.High)
		c.oneOf(path+".covers", r.Covers, ScopePreparation, "parent")
	case RuleCheckStandard, RuleInternalStandard:
		c.notNegative(path+".low", r.Low)
		c.ordered(path, "low", "high", r.Low, r.High, false)
		c.oneOf(path+".brackets", r.Brackets, "both sides", "opening only")
	}
	if r.Rule == RuleInternalStandard && c.method.InternalStandard == nil {
		c.Fault(path+".rule", "describe it under internal_standard", "rule %q needs an internal standard, and the method has none", r.Rule)
	}
}

// covered checks that the analytes of a rule have what the rule compares with.
func (c *checker) covered(path string, r *Rule) {
	for i := range c.method.Analytes {
		a := &c.method.Analytes[i]
		if len(r.Analytes) > 0 && !slices.Contains(r.Analytes, a.Name) {
			continue
		}
		switch {
		case r.Rule == RuleMethodBlank && a.LOQ == nil:
			c.Fault(path+".rule", "give the analyte its loq or list the rule's analytes", "rule %q compares with the LOQ, and %q has none", r.Rule, a.Name)
		case r.Rule == RuleRange && a.Calibration.Model == ModelNone && a.Calibration.RangeLow == nil && a.Calibration.RangeHigh == nil:
			c.Fault(path+".rule", "give the analyte range_low, range_high or both, or list the rule's analytes", "rule %q: %q has no calibrants and no range", r.Rule, a.Name)
		case r.Rule == RuleCalibration && len(r.Analytes) > 0 && a.Calibration.Model == ModelNone:
			c.Fault(path+".analytes", "", "rule %q: %q has calibration model %q", r.Rule, a.Name, ModelNone)
		case r.Rule == RuleCalibration:
			c.acceptable(path, r, a)
		}
	}
}

// acceptable checks that an analyte's calibration function has what a rule limits.
func (c *checker) acceptable(path string, r *Rule, a *Analyte) {
	const hint = "list the rule's analytes, and give those with this model a rule without it"
	model := a.Calibration.Model
	refuse := func(key, what string) {
		c.Fault(at(path, key), hint, "%s: %q is calibrated by %q, which has no %s", at(path, key), a.Name, model, what)
	}
	if model == ModelPointToPoint && r.MinR2 != nil {
		refuse("min_r2", "r²")
	}
	if model == ModelPointToPoint && r.MaxRSE != nil {
		refuse("max_rse_percent", "relative standard error")
	}
	if r.MaxIntercept != nil && (model == ModelPointToPoint || model == ModelThroughOrigin || model == ModelAverageFactor) {
		refuse("max_intercept_percent_of_lowest", "intercept")
	}
}

// ruleOverlap reports two rules of one kind that cover the same analyte: only one
// verdict can be given for it.
func (c *checker) ruleOverlap() {
	for i, r := range c.method.Rules {
		for k, before := range c.method.Rules[:i] {
			if r.Rule != before.Rule || !slices.Contains(ruleKinds, r.Rule) {
				continue
			}
			both := ""
			switch {
			case len(r.Analytes) == 0 || len(before.Analytes) == 0:
				both = "the same analytes"
			default:
				for _, name := range r.Analytes {
					if slices.Contains(before.Analytes, name) {
						both = fmt.Sprintf("%q", name)
					}
				}
			}
			if both != "" {
				c.Fault(fmt.Sprintf("rules[%d].rule", i), "list the analytes of each", "rule %q covers %s as rules[%d] does", r.Rule, both, k)
			}
		}
	}
}

// cas checks a CAS registry number by its check digit.
func (c *checker) cas(path, number string) {
	if c.Has(path) && !located.IsCAS(number) {
		c.Fault(path, "two to seven digits, two digits and the check digit: 67-56-1", "%s: %q is not a CAS registry number", path, number)
	}
}
