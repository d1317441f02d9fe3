package catalogue

import "underbond/parsers/located"

// Document is one version of a catalogue document: entries to add, further names of
// entries that are already there, and names that may not be used alone.
type Document struct {
	Kind      string      `yaml:"kind"` // always "catalogue"
	Name      string      `yaml:"name"`
	Version   string      `yaml:"version"`
	Entries   []Entry     `yaml:"entries,omitempty"`
	Additions []Addition  `yaml:"additions,omitempty"`
	Ambiguous []Ambiguity `yaml:"ambiguous,omitempty"`
}

// Kind is the kind of catalogue documents.
const Kind = "catalogue"

// Addition gives further names to an entry. A name that was ambiguous is settled by
// adding it to one of the entries that it can mean.
type Addition struct {
	Of    string `yaml:"of"` // canonical name
	Names Names  `yaml:"names"`
}

// Ambiguity lists names that can mean any of several entries.
type Ambiguity struct {
	Names   []string `yaml:"names" json:"names"`
	Entries []string `yaml:"entries" json:"entries"` // canonical names
	Hint    string   `yaml:"hint,omitempty" json:"hint,omitempty"`
}

// Extension is a document with the places of its parts.
type Extension struct {
	Document
	places *located.Document // nil for a document that was not read
}

// Parse reads and checks one catalogue document by itself; Extend checks it against a
// catalogue. The error is a located.Errors with every fault found.
func Parse(file string, data []byte) (*Extension, error) {
	x := &Extension{}
	x.places = located.Decode(file, data, &x.Document)
	if len(x.places.Faults) > 0 {
		return nil, x.places.Err()
	}
	f := x.faults()
	f.Identity(Kind, x.Kind, x.Name, x.Version)
	f.document(&x.Document)
	if err := f.Err(); err != nil {
		return nil, err
	}
	return x, nil
}

// faults gives an empty list of faults that knows the places of x.
func (x *Extension) faults() *checker {
	if x.places == nil {
		return &checker{&located.Document{File: x.Name}}
	}
	d := *x.places
	d.Faults = nil
	return &checker{&d}
}
