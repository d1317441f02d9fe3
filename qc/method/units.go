package method

import (
	"underbond/qc/document"
	"underbond/qc/unit"
)

// unit reports a unit that is given and not known.
func (c *checker) unit(path, text string) {
	if text == "" || !c.Has(path) {
		return
	}
	if _, err := unit.Parse(text); err != nil {
		c.Fault(path, document.UnitHint(err), "%s: unit %q is not known", path, text)
	}
}

// convertible reports at path that values in one unit cannot be given in the other.
// Unknown units are left to unit.
func (c *checker) convertible(path, from, to string) {
	f, errFrom := unit.Parse(from)
	t, errTo := unit.Parse(to)
	if errFrom == nil && errTo == nil && !f.Convertible(t) {
		c.Fault(path, "", "%s: %q cannot be given in %q", path, from, to)
	}
}

// massConcentration reports a unit that has no meaning per volume of pure alcohol.
func (c *checker) massConcentration(path, text string) {
	u, err := unit.Parse(text)
	milligrams, _ := unit.Parse("mg/L")
	if err == nil && !u.Convertible(milligrams) {
		c.Fault(path, "only a mass per volume of spirit has a value per volume of pure alcohol", "%s is asked of an analyte in %q", path, text)
	}
}
