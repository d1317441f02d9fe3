package catalogue

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"underbond/parsers/located"
	"underbond/qc/unit"
)

// massTolerance in g/mol lets pass molar masses computed with earlier atomic weights
// or given with two decimals; a wrong number of hydrogen atoms is far beyond it.
const massTolerance = 0.02

var inchiKeyForm = regexp.MustCompile(`^[A-Z]{14}-[A-Z]{10}-[A-Z]$`)

// checker collects what is wrong with the parts of a document by themselves.
type checker struct{ *located.Document }

func (c *checker) document(doc *Document) {
	if len(doc.Entries)+len(doc.Additions)+len(doc.Ambiguous) == 0 {
		c.Fault("", "give entries, additions or ambiguous", "the catalogue document says nothing")
	}
	for i := range doc.Entries {
		c.entry(fmt.Sprintf("entries[%d]", i), &doc.Entries[i])
	}
	for i := range doc.Additions {
		a, path := &doc.Additions[i], fmt.Sprintf("additions[%d]", i)
		if a.Of == "" {
			c.Fault(path+".of", "give the canonical name of an entry", "%s.of is missing", path)
		}
		if c.names(path+".names", &a.Names) == 0 {
			c.Fault(path+".names", "", "%s adds no name", path)
		}
	}
	for i, a := range doc.Ambiguous {
		path := fmt.Sprintf("ambiguous[%d]", i)
		if len(a.Names) == 0 {
			c.Fault(path+".names", "", "%s has no names", path)
		}
		for k, name := range a.Names {
			c.name(fmt.Sprintf("%s.names[%d]", path, k), name)
		}
		if len(a.Entries) < 2 {
			c.Fault(path+".entries", "give the canonical names of all that the name can mean", "%s has %d entries; a name is ambiguous between two or more", path, len(a.Entries))
		}
		c.distinct(path+".entries", a.Entries)
	}
}

func (c *checker) entry(path string, e *Entry) {
	if e.Name == "" {
		c.Fault(path+".name", "give the canonical name", "%s.name is missing", path)
	} else {
		c.name(path+".name", e.Name)
	}
	switch {
	case e.Class == "":
		c.Fault(path+".class", "one of "+strings.Join(Classes(), ", "), "%s.class is missing", path)
	case !slices.Contains(Classes(), e.Class):
		c.Fault(path+".class", located.Hint(e.Class, Classes()), "%s.class is %q", path, e.Class)
	}
	if e.Unit == "" {
		c.Fault(path+".unit", "the unit in which the field usually gives it", "%s.unit is missing", path)
	} else if _, err := unit.Parse(e.Unit); err != nil {
		c.Fault(path+".unit", "", "%s.unit: %v", path, err)
	}
	c.cas(path+".cas", e.CAS)
	for i, number := range e.AlsoCAS {
		c.cas(fmt.Sprintf("%s.also_cas[%d]", path, i), number)
	}
	if len(e.AlsoCAS) > 0 && e.CAS == "" {
		c.Fault(path+".also_cas", "give the main number as cas", "%s has also_cas without cas", path)
	}
	if e.InChIKey != "" && !inchiKeyForm.MatchString(e.InChIKey) {
		c.Fault(path+".inchikey", "14, 10 and 1 capital letters with hyphens between", "%s.inchikey %q has not the form of an InChIKey", path, e.InChIKey)
	}
	c.mass(path, e)
	c.names(path+".names", &e.Names)
	if e.Class != ClassSum && (len(e.Components) > 0 || e.ExpressedAs != "") {
		c.Fault(path+".class", "only a sum has components or is expressed as a substance", "%s.class is %q and components or expressed_as are given", path, e.Class)
	}
	if len(e.Components) == 1 {
		c.Fault(path+".components", "", "%s has one component, and is no sum", path)
	}
	c.distinct(path+".components", e.Components)
}

// mass wants formula and molar mass together, and agreeing.
func (c *checker) mass(path string, e *Entry) {
	switch {
	case e.Formula == "" && e.MolarMass == nil:
		return
	case e.Formula == "":
		c.Fault(path+".molar_mass", "give the formula that the mass belongs to", "%s has a molar mass without a formula", path)
		return
	}
	want, err := MolarMass(e.Formula)
	switch {
	case err != nil:
		c.Fault(path+".formula", "carbon, hydrogen, then the rest by alphabet: C2H6O", "%s: %v", path, err)
	case e.MolarMass == nil:
		c.Fault(path+".formula", fmt.Sprintf("give molar_mass: %.3f", want), "%s has a formula without a molar mass", path)
	case !(math.Abs(*e.MolarMass-want) <= massTolerance):
		c.Fault(path+".molar_mass", "one of the two is wrong", "%s.molar_mass is %v g/mol, and %s has %.3f g/mol", path, *e.MolarMass, e.Formula, want)
	}
}

func (c *checker) cas(path, number string) {
	if number != "" && !located.IsCAS(number) {
		c.Fault(path, "check the digits; the last one is computed from the others", "%s %q is no CAS registry number", path, number)
	}
}

// names checks all lists and gives how many names there are.
func (c *checker) names(path string, n *Names) int {
	count := 0
	for _, l := range n.lists() {
		for i, name := range *l.list {
			c.name(fmt.Sprintf("%s.%s[%d]", path, l.key, i), name)
			count++
		}
	}
	return count
}

func (c *checker) name(path, name string) {
	key := Normalise(name)
	_, number := registryNumber(key)
	switch {
	case strings.TrimSpace(name) != name:
		c.Fault(path, "", "%s %q begins or ends with a space", path, name)
	case key == "" || len([]rune(key)) > maxCompared:
		c.Fault(path, fmt.Sprintf("letters or digits, at most %d", maxCompared), "%s %q cannot be a name", path, name)
	case number:
		c.Fault(path, "write it as cas or also_cas", "%s %q has the form of a CAS registry number", path, name)
	}
}

func (c *checker) distinct(path string, list []string) {
	for i, one := range list {
		if slices.Contains(list[:i], one) {
			c.Fault(fmt.Sprintf("%s[%d]", path, i), "", "%s has %q twice", path, one)
		}
	}
}
