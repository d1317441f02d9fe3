// Package located reads YAML documents strictly and keeps the place of everything
// read, so that each fault names its file, line and column. Documents of the parsers
// and of the quality control share it.
package located

import (
	"fmt"
	"sort"
	"strings"
)

// Error is one fault of a document with its place. Line and Column count from 1, in
// characters; a zero Line means the document as a whole.
type Error struct {
	File    string
	Line    int
	Column  int
	Message string // what is wrong, with the text concerned
	Hint    string // what to do about it; may be empty
}

// Error gives "file:line:column: message" and the hint on a second line.
func (e Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, max(e.Column, 1))
	}
	b.WriteString(": ")
	b.WriteString(e.Message)
	if e.Hint != "" {
		b.WriteString("\n    hint: ")
		b.WriteString(e.Hint)
	}
	return b.String()
}

// Errors are all faults found in a document, in the order of their places.
type Errors []Error

// Error lists the faults, one below the other.
func (e Errors) Error() string {
	texts := make([]string, len(e))
	for i, one := range e {
		texts[i] = one.Error()
	}
	return strings.Join(texts, "\n")
}

// Unwrap gives the single faults to errors.As.
func (e Errors) Unwrap() []error {
	list := make([]error, len(e))
	for i, one := range e {
		list[i] = one
	}
	return list
}

// Err is nil when there is no fault, else the faults sorted by place.
func (e Errors) Err() error {
	if len(e) == 0 {
		return nil
	}
	sort.SliceStable(e, func(i, k int) bool {
		if e[i].Line != e[k].Line {
			return e[i].Line < e[k].Line
		}
		return e[i].Column < e[k].Column
	})
	return e
}
