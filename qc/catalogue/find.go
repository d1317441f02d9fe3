package catalogue

import (
	"fmt"
	"strings"

	"underbond/parsers/located"
)

// Find gives the entry that a name, CAS registry number or InChIKey stands for. Names
// are compared as Normalise says, numbers may have "CAS" before them. Nothing is
// guessed: a name that is near to a known one is unknown.
//
// Errors: *UnknownError with the nearest names, *AmbiguousError with the entries that
// the name can mean.
func (c *Catalogue) Find(nameOrCAS string) (Entry, error) {
	key := Normalise(nameOrCAS)
	if ref, ok := c.index[key]; ok {
		return c.entries[ref.name].clone(), nil
	}
	if a, ok := c.ambiguous[key]; ok {
		return Entry{}, &AmbiguousError{Text: nameOrCAS, Entries: append([]string(nil), a.Entries...), Hint: a.Hint}
	}
	number, isNumber := registryNumber(key)
	if ref, ok := c.index[number]; isNumber && ok {
		return c.entries[ref.name].clone(), nil
	}
	unknown := &UnknownError{Text: nameOrCAS}
	if isNumber {
		unknown.WrongDigit = !located.IsCAS(number)
		key = number
	}
	unknown.Candidates = c.nearest(key, isNumber)
	return Entry{}, unknown
}

// registryNumber takes "CAS" and the like from before a registry number; ok tells
// whether what remains has the form of one, whatever its check digit.
func registryNumber(key string) (number string, ok bool) {
	number = strings.TrimPrefix(key, "cas")
	for _, word := range []string{"registrynumber", "number", "no", "nr", "rn"} {
		number = strings.TrimPrefix(number, word)
	}
	number = strings.TrimLeft(number, ":# ")
	parts := strings.Split(number, "-")
	if len(parts) != 3 || len(parts[0]) < 2 || len(parts[0]) > 7 || len(parts[1]) != 2 || len(parts[2]) != 1 {
		return "", false
	}
	for _, r := range strings.Join(parts, "") {
		if !isDigit(r) {
			return "", false
		}
	}
	return number, true
}

// UnknownError: a name or number is not in the catalogue.
type UnknownError struct {
	Text string // as given
	// Candidates are the nearest entries, best first; there may be none.
	Candidates []Candidate
	// WrongDigit tells that the text is a CAS registry number whose check digit is wrong.
	WrongDigit bool
}

// Candidate is an entry whose name is near to one that is unknown.
type Candidate struct {
	Name     string // canonical
	Text     string // the listed name or number that is near
	Distance int    // edits from the text to it
}

// Error implements error.
func (e *UnknownError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%q is not in the analyte catalogue", e.Text)
	if e.WrongDigit {
		b.WriteString(" (its check digit is wrong)")
	}
	for i, c := range e.Candidates {
		if i == 0 {
			b.WriteString("; nearest: ")
		} else {
			b.WriteString(", ")
		}
		b.WriteString(c.Name)
		if c.Text != c.Name {
			fmt.Fprintf(&b, " (%s)", c.Text)
		}
	}
	return b.String()
}

// AmbiguousError: a name can mean several entries.
type AmbiguousError struct {
	Text    string   // as given
	Entries []string // canonical names
	Hint    string   // may be empty
}

// Error implements error.
func (e *AmbiguousError) Error() string {
	last := len(e.Entries) - 1
	text := fmt.Sprintf("%q is ambiguous: %s or %s", e.Text, strings.Join(e.Entries[:last], ", "), e.Entries[last])
	if e.Hint != "" {
		text += " (" + e.Hint + ")"
	}
	return text
}
