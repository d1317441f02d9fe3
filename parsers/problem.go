package parsers

import (
	"fmt"
	"strings"
)

// Grade says what a problem does to the content that it concerns.
type Grade string

const (
	// Refused: the content cannot be trusted; no acquisition leaves.
	Refused Grade = "refusal"
	// Warned: a declared count, checksum or header value is wrong while the data is whole.
	Warned Grade = "warning"
	// Lost: a signal or array is lost, and must not be taken as whole; the rest of the file is.
	Lost Grade = "loss"
)

// Place locates a problem inside a file. Zero fields are unknown.
type Place struct {
	Line    int    `json:"line,omitempty"`    // from 1
	Column  int    `json:"column,omitempty"`  // from 1: character, or cell of a delimited row
	Offset  int64  `json:"offset,omitempty"`  // bytes from the start of the decompressed content
	Record  int    `json:"record,omitempty"`  // acquisition within the file, from 1
	Element string `json:"element,omitempty"` // label, XML element, signal id or column name
}

// String gives the place as people read it: "line 12, column 3, ##NPOINTS".
func (p Place) String() string {
	var parts []string
	if p.Record > 0 {
		parts = append(parts, fmt.Sprintf("record %d", p.Record))
	}
	if p.Line > 0 {
		parts = append(parts, fmt.Sprintf("line %d", p.Line))
	}
	if p.Column > 0 {
		parts = append(parts, fmt.Sprintf("column %d", p.Column))
	}
	if p.Offset > 0 {
		parts = append(parts, fmt.Sprintf("byte %d", p.Offset))
	}
	if p.Element != "" {
		parts = append(parts, p.Element)
	}
	if len(parts) == 0 {
		return "the file as a whole"
	}
	return strings.Join(parts, ", ")
}

// Problem is one remark about content, as data.
type Problem struct {
	Grade Grade `json:"grade"`
	// Code is stable and names the kind of problem, such as "jcampdx-y-check".
	Code  string `json:"code"`
	Where Place  `json:"where"`
	// Message says what is wrong in words, with the values concerned.
	Message string `json:"message"`
}

// String gives code, place and message on one line.
func (p Problem) String() string {
	return fmt.Sprintf("%s at %s: %s", p.Code, p.Where, p.Message)
}

// Refusal is the error of a reader that does not trust the content.
type Refusal struct{ Problem }

// Error implements error.
func (r *Refusal) Error() string { return r.String() }

// Refuse makes a refusal.
func Refuse(code string, where Place, format string, args ...any) *Refusal {
	return &Refusal{Problem{Grade: Refused, Code: code, Where: where, Message: fmt.Sprintf(format, args...)}}
}

// Warn makes a warning.
func Warn(code string, where Place, format string, args ...any) Problem {
	return Problem{Grade: Warned, Code: code, Where: where, Message: fmt.Sprintf(format, args...)}
}

// Lose makes a problem of grade Lost.
func Lose(code string, where Place, format string, args ...any) Problem {
	return Problem{Grade: Lost, Code: code, Where: where, Message: fmt.Sprintf(format, args...)}
}
