package method

import (
	"fmt"
	"strings"
)

// Strength is the quantity of analytes that per-alcohol results are computed with.
const Strength = "strength"

func (c *checker) analytes() {
	m := c.method
	if c.Has("analytes") && len(m.Analytes) == 0 {
		c.Fault("analytes", "", "analytes is empty")
	}
	names, rows := map[string]int{}, map[string]string{}
	for i := range m.Analytes {
		a, path := &m.Analytes[i], fmt.Sprintf("analytes[%d]", i)
		if before, twice := names[a.Name]; twice && a.Name != "" {
			c.Fault(path+".name", "give each analyte its own name", "analyte %q is already analytes[%d]", a.Name, before)
		}
		names[a.Name] = i
		c.analyteItself(path, a)
		if t := a.Source.Table; t != nil {
			for k, match := range t.Match {
				row := match + "\x00" + t.Value
				if other, taken := rows[row]; taken && other != a.Name {
					c.Fault(fmt.Sprintf("%s.source.table.match[%d]", path, k), "a table row can be one analyte only", "%q is already the %s of %q", match, t.Value, other)
				}
				rows[row] = a.Name
			}
		}
	}
}

func (c *checker) analyteItself(path string, a *Analyte) {
	c.required(path, "name", "unit", "source", "calibration", "report")
	if strings.TrimSpace(a.Name) != a.Name {
		c.Fault(path+".name", "", "%s.name %q begins or ends with a space", path, a.Name)
	}
	c.cas(path+".cas", a.CAS)
	c.unit(path+".unit", a.Unit)
	if c.Has(path + ".source") {
		c.source(path+".source", &a.Source)
	}
	if c.Has(path + ".calibration") {
		c.calibration(path+".calibration", &a.Calibration)
	}
	c.positive(path+".lod", a.LOD)
	c.positive(path+".loq", a.LOQ)
	if a.LOD != nil && a.LOQ != nil && !(*a.LOQ >= *a.LOD) {
		c.Fault(path+".loq", "the limit of quantitation is never below the limit of detection", "%s.loq %v is below lod %v", path, *a.LOQ, *a.LOD)
	}
	if c.Has(path + ".report") {
		c.report(path+".report", a)
	}
	c.strength(path, a)
}

func (c *checker) strength(path string, a *Analyte) {
	c.oneOf(path+".quantity", a.Quantity, Strength)
	c.oneOf(path+".strength_kind", a.StrengthKind, "real", "apparent", "apparent, extract-corrected")
	switch {
	case a.Quantity == Strength && a.StrengthKind == "" && a.Source.Density == nil:
		c.Fault(path+".strength_kind", "real (on the distillate), apparent, or apparent, extract-corrected", "%s.strength_kind is missing for a strength", path)
	case a.Quantity != Strength && a.StrengthKind != "":
		c.Fault(path+".strength_kind", "", "%s.strength_kind is given, and the quantity is not %q", path, Strength)
	}
	if a.Quantity == Strength || a.Source.Density != nil {
		c.convertible(path+".unit", a.Unit, "% vol")
	}
	if a.Source.Density != nil && a.Calibration.Model != ModelNone && c.Has(path+".calibration.model") {
		c.Fault(path+".calibration.model", "the formula gives the strength itself: model none", "%s.calibration.model is %q for a strength from density", path, a.Calibration.Model)
	}
}

func (c *checker) calibration(path string, k *Calibration) {
	c.required(path, "model")
	if why, known := notEvaluated[k.Model]; known {
		c.Fault(path+".model", why, "%s.model %q is not evaluated within a batch", path, k.Model)
		return
	}
	if !c.oneOf(path+".model", k.Model, Models()...) {
		return
	}
	c.oneOf(path+".weighting", k.Weighting, Weightings()...)
	c.positive(path+".factor", k.Factor)
	unweighted := k.Model == ModelNone || k.Model == ModelPointToPoint
	switch {
	case unweighted && c.Has(path+".weighting"):
		c.Fault(path+".weighting", "leave it out", "%s.weighting is given for model %q", path, k.Model)
	case k.Model == ModelAverageFactor && c.Has(path+".weighting"):
		c.Fault(path+".weighting", "leave it out: the mean of the factors weights every point by 1/x²", "%s.weighting is given for model %q", path, k.Model)
	case k.Model != ModelNone && k.Factor != nil:
		c.Fault(path+".factor", "leave it out", "%s.factor is given for model %q", path, k.Model)
	}
	c.notNegative(path+".range_low", k.RangeLow)
	c.positive(path+".range_high", k.RangeHigh)
	c.ordered(path, "range_low", "range_high", k.RangeLow, k.RangeHigh, false)
}

// notEvaluated are calibrations of the trade that a method document cannot ask for, with
// what to do instead.
var notEvaluated = map[string]string{
	"standard addition": "a worklist does not say which amounts were added to which portion of a sample; compute the amount outside and import it with model none",
	"bracketing":        "use straight line or line through the origin with check standards on both sides of the samples",
}

func (c *checker) report(path string, a *Analyte) {
	r := a.Report
	c.required(path, "unit")
	c.unit(path+".unit", r.Unit)
	c.convertible(path+".unit", a.Unit, r.Unit)
	c.digits(path, r.Decimals, r.Significant)
	if r.PerAlcohol == nil {
		return
	}
	below := path + ".per_alcohol"
	c.required(below, "unit")
	c.oneOf(below+".unit", r.PerAlcohol.Unit, "g/hL p.a.")
	c.digits(below, r.PerAlcohol.Decimals, r.PerAlcohol.Significant)
	c.massConcentration(below, a.Unit)
}

// digits wants exactly one of decimals and significant digits.
func (c *checker) digits(path string, decimals, significant *int) {
	switch {
	case decimals == nil && significant == nil:
		c.Fault(path, "give decimals or significant", "%s does not say how to round", path)
	case decimals != nil && significant != nil:
		c.Fault(path+".significant", "keep one of the two", "%s has both decimals and significant", path)
	case decimals != nil && (*decimals < 0 || *decimals > 9):
		c.Fault(path+".decimals", "0 to 9", "%s.decimals is %d", path, *decimals)
	case significant != nil && (*significant < 1 || *significant > 9):
		c.Fault(path+".significant", "1 to 9", "%s.significant is %d", path, *significant)
	}
}

func list(words []string) string {
	if len(words) == 0 {
		return "none"
	}
	return strings.Join(words, ", ")
}
