package method

import (
	"fmt"
	"slices"
	"strings"

	"underbond/parsers"
	"underbond/parsers/located"
)

// checker looks for faults that the form of the document does not show.
type checker struct {
	*located.Document
	method *Method
}

func (c *checker) check() {
	m := c.method
	c.Identity("method", m.Kind, m.Name, m.Version)
	c.required("", "title", "approved_by", "effective_from", "input", "release", "analytes", "rules")
	c.input()
	c.release()
	c.internalStandard()
	c.analytes()
	c.integration()
	c.uncertainties()
	c.features()
	for i := range m.Rules {
		c.rule(fmt.Sprintf("rules[%d]", i), &m.Rules[i])
	}
	c.ruleOverlap()
	for i := range m.Notices {
		c.notice(fmt.Sprintf("notices[%d]", i), &m.Notices[i])
	}
}

// required reports the keys that the mapping at path lacks.
func (c *checker) required(path string, keys ...string) {
	for _, key := range keys {
		if !c.Has(at(path, key)) {
			c.Fault(at(path, key), "", "%s is missing", at(path, key))
		}
	}
}

// oneOf reports a value that is given and not among allowed.
func (c *checker) oneOf(path, value string, allowed ...string) bool {
	if c.Has(path) && !slices.Contains(allowed, value) {
		c.Fault(path, located.Hint(value, allowed), "%s is %q", path, value)
		return false
	}
	return true
}

// positive reports a number that is given and not above zero.
func (c *checker) positive(path string, value *float64) {
	if c.Has(path) && value != nil && !(*value > 0) {
		c.Fault(path, "", "%s is %v, not above zero", path, *value)
	}
}

// notNegative reports a number that is given and below zero.
func (c *checker) notNegative(path string, value *float64) {
	if c.Has(path) && value != nil && !(*value >= 0) {
		c.Fault(path, "", "%s is %v, below zero", path, *value)
	}
}

// ordered reports two numbers that are not in rising order.
func (c *checker) ordered(path, low, high string, lowValue, highValue *float64, equal bool) {
	if lowValue == nil || highValue == nil || *lowValue < *highValue || equal && *lowValue == *highValue {
		return
	}
	c.Fault(at(path, high), "", "%s %v is not above %s %v", at(path, high), *highValue, low, *lowValue)
}

func (c *checker) input() {
	in := c.method.Input
	if !c.Has("input") {
		return
	}
	c.required("input", "format")
	c.oneOf("input.format", in.Format, parsers.FormatDelimited, parsers.FormatJCAMPDX, parsers.FormatMzML)
	switch {
	case in.Format == parsers.FormatDelimited && in.Profile == "":
		c.Fault("input.profile", "name the profile that describes the export's columns", "input.profile is missing for format %q", in.Format)
	case in.Format != parsers.FormatDelimited && in.Profile != "":
		c.Fault("input.profile", "leave it out: only delimited text has a profile", "input.profile %q is given for format %q", in.Profile, in.Format)
	}
}

func (c *checker) release() {
	r := c.method.Release
	if !c.Has("release") {
		return
	}
	const hint = "name the persons who sign each release, or give the standing authorisation that was signed for this version"
	switch {
	case r.Standing == nil && len(r.Persons) == 0:
		c.Fault("release", hint, "release names nobody: neither persons nor standing")
	case r.Standing != nil && c.Has("release.persons"):
		c.Fault("release.standing", hint, "release has both persons and standing")
	}
	c.unique("release.persons", r.Persons)
	if r.Standing != nil {
		c.required("release.standing", "authorised_by", "signed_on", "statement")
	}
}

func (c *checker) internalStandard() {
	is := c.method.InternalStandard
	if is == nil {
		return
	}
	const path = "internal_standard"
	c.required(path, "name", "source", "amount", "unit")
	c.cas(path+".cas", is.CAS)
	c.positive(path+".amount", &is.Amount)
	c.unit(path+".unit", is.Unit)
	c.source(path+".source", &is.Source)
	for i, a := range c.method.Analytes {
		if a.Name == is.Name && a.Name != "" {
			c.Fault(fmt.Sprintf("analytes[%d].name", i), "an internal standard is not reported", "%q is the internal standard", a.Name)
		}
	}
}

func (c *checker) notice(path string, n *Notice) {
	c.required(path, "analyte", "basis", "categories", "high", "unit", "act")
	c.oneOf(path+".basis", n.Basis, basisAsIs, basisPerAlcohol)
	c.positive(path+".high", &n.High)
	c.unique(path+".categories", n.Categories)
	if c.Has(path+".categories") && len(n.Categories) == 0 {
		c.Fault(path+".categories", "list the register categories that the act concerns", "%s.categories is empty", path)
	}
	c.unit(path+".unit", n.Unit)
	a := c.analyte(path+".analyte", n.Analyte)
	if a == nil {
		return
	}
	if n.Basis == basisPerAlcohol && a.Report.PerAlcohol == nil {
		c.Fault(path+".basis", "add report.per_alcohol to the analyte", "%s asks for %q, and %q is not reported so", path, basisPerAlcohol, a.Name)
	}
	reported := a.Report.Unit
	if n.Basis == basisPerAlcohol && a.Report.PerAlcohol != nil {
		reported = a.Report.PerAlcohol.Unit
	}
	c.convertible(path+".unit", reported, n.Unit)
}

// Bases of a notice, as package qc names them.
const (
	basisAsIs       = "as is"
	basisPerAlcohol = "per hL of pure alcohol"
)

// analyte finds the analyte that path names.
func (c *checker) analyte(path, name string) *Analyte {
	var names []string
	for i := range c.method.Analytes {
		if c.method.Analytes[i].Name == name {
			return &c.method.Analytes[i]
		}
		names = append(names, c.method.Analytes[i].Name)
	}
	if c.Has(path) {
		c.Fault(path, located.Hint(name, names), "%s: the method has no analyte %q", path, name)
	}
	return nil
}

// unique reports repeated and blank items of a list.
func (c *checker) unique(path string, items []string) {
	for i, item := range items {
		if k := slices.Index(items, item); k < i {
			c.Fault(fmt.Sprintf("%s[%d]", path, i), "keep one of the two", "%s has %q twice", path, item)
		}
		if strings.TrimSpace(item) != item {
			c.Fault(fmt.Sprintf("%s[%d]", path, i), "", "%s: %q begins or ends with a space", path, item)
		}
	}
}

func at(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
