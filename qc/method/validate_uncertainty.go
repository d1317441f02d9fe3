package method

import "fmt"

var componentKeys = []string{"repeatability_percent", "dilution_percent", "standards", "standards_percent"}
var topDownKeys = []string{"reproducibility_percent", "bias_percent"}

func (c *checker) uncertainties() {
	if u := c.method.Uncertainty; u != nil {
		c.uncertainty("uncertainty", u)
	}
	for i := range c.method.Analytes {
		a := &c.method.Analytes[i]
		path := "uncertainty"
		if a.Uncertainty != nil {
			path = fmt.Sprintf("analytes[%d].uncertainty", i)
			c.uncertainty(path, a.Uncertainty)
		}
		if u := c.method.UncertaintyOf(a); u != nil {
			c.computable(path, u, a)
		}
	}
}

func (c *checker) uncertainty(path string, u *Uncertainty) {
	c.required(path, "approach", "coverage_factor", "source")
	c.positive(path+".coverage_factor", &u.CoverageFactor)
	if !c.oneOf(path+".approach", u.Approach, ApproachComponents, ApproachTopDown) {
		return
	}
	must, foreign := []string{"repeatability_percent"}, topDownKeys
	if u.Approach == ApproachTopDown {
		must, foreign = topDownKeys, componentKeys
	}
	if c.Has(path + ".approach") {
		c.required(path, must...)
		for _, key := range foreign {
			if c.Has(at(path, key)) {
				c.Fault(at(path, key), "leave it out", "%s means nothing to approach %q", at(path, key), u.Approach)
			}
		}
	}
	c.oneOf(path+".standards", u.Standards, StandardsFromList)
	if u.Standards != "" && u.StandardsPercent != nil {
		c.Fault(path+".standards_percent", "keep one of the two", "%s has both standards and standards_percent", path)
	}
	c.positive(path+".repeatability_percent", u.Repeatability)
	c.positive(path+".dilution_percent", u.Dilution)
	c.positive(path+".standards_percent", u.StandardsPercent)
	c.positive(path+".reproducibility_percent", u.Reproducibility)
	c.notNegative(path+".bias_percent", u.Bias)
}

// computable checks that an analyte's calibration gives what the uncertainty is made of.
func (c *checker) computable(path string, u *Uncertainty, a *Analyte) {
	const hint = "give the analyte an uncertainty of its own"
	if u.Approach != ApproachComponents {
		return
	}
	if a.Calibration.Model == ModelPointToPoint {
		c.Fault(path+".approach", hint+", top-down", "%s.approach: %q is calibrated by %q, which gives no standard error", path, a.Name, a.Calibration.Model)
	}
	if a.Calibration.Model == ModelNone && u.Standards == StandardsFromList {
		c.Fault(path+".standards", hint+", with standards_percent", "%s.standards: %q is not calibrated by standards of the batch", path, a.Name)
	}
}
