// Package catalogue holds the analytes that a laboratory of aged spirits measures:
// canonical name, registry numbers, structure key, formula, molar mass, unit, class
// and the names by which methods, exports and certificates call them. The shipped
// entries are data files; a laboratory extends them with a document of its own.
package catalogue

import (
	"maps"
	"slices"
)

// Entry is one analyte.
type Entry struct {
	// Name is the canonical name, as the field writes it.
	Name string `yaml:"name" json:"name"`
	// Class is what kind of quantity it is, one of Classes.
	Class string `yaml:"class" json:"class"`
	// Unit is the unit in which the field usually gives it; package unit reads it.
	Unit string `yaml:"unit" json:"unit"`
	// CAS is the registry number of the substance as it is bought and certified.
	CAS string `yaml:"cas,omitempty" json:"cas,omitempty"`
	// AlsoCAS are registry numbers of the same substance with its stereochemistry
	// stated otherwise. Salts and hydrates are not among them: their molar mass differs.
	AlsoCAS  []string `yaml:"also_cas,omitempty" json:"also_cas,omitempty"`
	InChIKey string   `yaml:"inchikey,omitempty" json:"inchikey,omitempty"`
	// Formula is in Hill order, with D for deuterium.
	Formula string `yaml:"formula,omitempty" json:"formula,omitempty"`
	// MolarMass is in g/mol and belongs to Formula; nil where there is none.
	MolarMass *float64 `yaml:"molar_mass,omitempty" json:"molar_mass,omitempty"`
	Names     Names    `yaml:"names,omitempty" json:"names"`
	// Components of a sum, by canonical name. A sum without them is defined by its method.
	Components []string `yaml:"components,omitempty" json:"components,omitempty"`
	// ExpressedAs is the canonical name of the substance as whose amount a sum is given.
	ExpressedAs string `yaml:"expressed_as,omitempty" json:"expressed_as,omitempty"`
	Note        string `yaml:"note,omitempty" json:"note,omitempty"`
}

// Names are further names of an entry, by language.
type Names struct {
	EN     []string `yaml:"en,omitempty" json:"en,omitempty"`
	DE     []string `yaml:"de,omitempty" json:"de,omitempty"`
	FR     []string `yaml:"fr,omitempty" json:"fr,omitempty"`
	ES     []string `yaml:"es,omitempty" json:"es,omitempty"`
	IT     []string `yaml:"it,omitempty" json:"it,omitempty"`
	Export []string `yaml:"export,omitempty" json:"export,omitempty"` // abbreviations and spellings of exports
}

// lists gives every list with its key, to be read or replaced.
func (n *Names) lists() []namedList {
	return []namedList{{"en", &n.EN}, {"de", &n.DE}, {"fr", &n.FR}, {"es", &n.ES}, {"it", &n.IT}, {"export", &n.Export}}
}

type namedList struct {
	key  string
	list *[]string
}

// Classes of entries.
const (
	ClassVolatile     = "volatile"
	ClassWood         = "wood"
	ClassCaramel      = "caramel"
	ClassSugar        = "sugar"
	ClassAcid         = "acid"
	ClassContaminant  = "contaminant"
	ClassElement      = "element"
	ClassIsotopeRatio = "isotope ratio"
	ClassPhysical     = "physical"
	ClassColour       = "colour"
	ClassSum          = "sum"
)

// Classes gives all classes of entries.
func Classes() []string {
	return []string{ClassVolatile, ClassWood, ClassCaramel, ClassSugar, ClassAcid, ClassContaminant,
		ClassElement, ClassIsotopeRatio, ClassPhysical, ClassColour, ClassSum}
}

// Catalogue is a set of entries in which every name, after Normalise, means one
// entry or is listed as ambiguous. It never changes; Extend makes another one.
type Catalogue struct {
	entries   map[string]Entry     // by canonical name
	index     map[string]reference // by normalised name or number
	ambiguous map[string]Ambiguity // by normalised name
}

// reference is what a normalised name or number stands for.
type reference struct {
	name   string // canonical
	text   string // as listed
	number bool   // a registry number or structure key
}

// Entries gives all entries, sorted by canonical name.
func (c *Catalogue) Entries() []Entry {
	list := make([]Entry, 0, len(c.entries))
	for _, name := range slices.Sorted(maps.Keys(c.entries)) {
		list = append(list, c.entries[name].clone())
	}
	return list
}

// clone gives an entry that shares nothing with e.
func (e Entry) clone() Entry {
	e.AlsoCAS, e.Components = slices.Clone(e.AlsoCAS), slices.Clone(e.Components)
	if e.MolarMass != nil {
		mass := *e.MolarMass
		e.MolarMass = &mass
	}
	for _, l := range e.Names.lists() {
		*l.list = slices.Clone(*l.list)
	}
	return e
}
