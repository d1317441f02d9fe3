// Package registry knows every reader: the formats that need no description and one
// delimited reader for each profile. It finds the reader of some content by looking
// at the content, never at the file's name.
package registry

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/parsers/jcampdx"
	"underbond/parsers/mzml"
)

// Registry is a fixed list of readers. It is safe for concurrent use.
type Registry struct{ entries []entry }

type entry struct {
	reader  parsers.Reader
	profile string
}

// name is the format, with the profile where there is one.
func (e entry) name() string {
	if e.profile != "" {
		return e.reader.Format() + " by profile " + e.profile
	}
	return e.reader.Format()
}

// New makes a registry of all formats and the given profiles. Of profiles with one
// name the last counts, so that a caller gives versions in order.
func New(profiles []*delimited.Profile) *Registry {
	r := &Registry{entries: []entry{{reader: jcampdx.Reader{}}, {reader: mzml.Reader{}}}}
	for i, p := range profiles {
		if slices.ContainsFunc(profiles[i+1:], func(later *delimited.Profile) bool { return later.Name == p.Name }) {
			continue
		}
		r.entries = append(r.entries, entry{delimited.New(p), p.Name})
	}
	return r
}

// Match is a reader's guess about some content.
type Match struct {
	parsers.Guess
	Profile string         `json:"profile,omitempty"` // of delimited text
	Reader  parsers.Reader `json:"-"`
}

// UnknownError: no reader takes the content for its own.
type UnknownError struct {
	// Tried are all guesses, each with the reason against it.
	Tried []Match
}

// Error lists what was tried and why it did not fit.
func (e *UnknownError) Error() string {
	var b strings.Builder
	b.WriteString("no reader knows this content:")
	for _, m := range e.Tried {
		fmt.Fprintf(&b, "\n  %s: %s", entry{m.Reader, m.Profile}.name(), m.Reason)
	}
	return b.String()
}

// AmbiguousError: two readers are equally sure.
type AmbiguousError struct{ Matches []Match }

// Error names the readers.
func (e *AmbiguousError) Error() string {
	names := make([]string, len(e.Matches))
	for i, m := range e.Matches {
		names[i] = entry{m.Reader, m.Profile}.name()
	}
	return "several readers know this content equally well (" + strings.Join(names, "; ") + "): name the profile in the configuration of the instrument"
}

// Detect asks every reader about the first bytes of some content (up to
// parsers.SniffLength) and gives the guesses above zero, the surest first.
//
// Errors: *UnknownError when there is none; *AmbiguousError, beside the guesses, when
// the first two are equally sure.
func (r *Registry) Detect(head []byte) ([]Match, error) {
	var found, tried []Match
	for _, e := range r.entries {
		m := Match{Guess: e.reader.Sniff(head), Profile: e.profile, Reader: e.reader}
		tried = append(tried, m)
		if m.Confidence > 0 {
			found = append(found, m)
		}
	}
	if len(found) == 0 {
		return nil, &UnknownError{Tried: tried}
	}
	slices.SortStableFunc(found, func(a, b Match) int {
		return cmp.Or(cmp.Compare(b.Confidence, a.Confidence), cmp.Compare(a.Format, b.Format), cmp.Compare(a.Profile, b.Profile))
	})
	best := found[0].Confidence
	n := 0
	for n < len(found) && found[n].Confidence == best {
		n++
	}
	if n > 1 {
		return found, &AmbiguousError{Matches: found[:n]}
	}
	return found, nil
}

// Reader gives the reader of a format and, for delimited text, a profile.
func (r *Registry) Reader(format, profile string) (parsers.Reader, error) {
	var known []string
	for _, e := range r.entries {
		if e.reader.Format() == format && e.profile == profile {
			return e.reader, nil
		}
		known = append(known, e.name())
	}
	return nil, fmt.Errorf("there is no reader for %s; known are %s", named(format, profile), strings.Join(known, ", "))
}

func named(format, profile string) string {
	if profile == "" {
		return fmt.Sprintf("format %q", format)
	}
	return fmt.Sprintf("format %q with profile %q", format, profile)
}
