// Package document holds what all documents share: their kinds, how a document is
// recognised by its content, located errors, and the reading of CSV documents with
// an identity row.
package document

import (
	"bytes"
	"fmt"
	"strings"

	"underbond/parsers/located"
)

// Error is one fault of a document with its place.
type Error = located.Error

// Errors are all faults of a document.
type Errors = located.Errors

// Kind is the kind of a document. Kind, name and version identify a document.
type Kind string

// Kinds of documents.
const (
	KindMethod        Kind = "method"
	KindProfile       Kind = "profile"
	KindWorklist      Kind = "worklist"
	KindRegister      Kind = "register"
	KindStandards     Kind = "standards"
	KindConfiguration Kind = "configuration"
)

// Detect recognises a document by its content; file only names it in errors. A CSV
// document begins with the cell "document", a YAML document has a key kind at its top
// level; the configuration has none and is known by its key folders.
func Detect(file string, data []byte) (Kind, error) {
	text := bytes.TrimPrefix(data, []byte("\ufeff"))
	if first, _, _ := bytes.Cut(text, []byte{'\n'}); isIdentityRow(first) {
		cells := strings.SplitN(strings.TrimRight(string(first), "\r"), ",", 3)
		return known(file, len(cells[0])+2, strings.Trim(strings.TrimSpace(cells[1]), `"`), KindWorklist, KindRegister, KindStandards)
	}
	keys, err := located.TopLevel(file, data)
	if err != nil {
		return "", fmt.Errorf("%s is not a document: it neither begins with the cells document,KIND nor is it a YAML mapping:\n%w", file, err)
	}
	if kind, ok := keys["kind"]; ok {
		return known(file, 1, kind, KindMethod, KindProfile, KindConfiguration)
	}
	if _, ok := keys["folders"]; ok {
		return KindConfiguration, nil
	}
	return "", Errors{{File: file, Line: 1, Column: 1,
		Message: "the document does not say what it is",
		Hint:    "a method or profile begins with kind: method or kind: profile, a configuration has the key folders, a CSV document begins with document,worklist or document,register or document,standards"}}
}

func isIdentityRow(line []byte) bool {
	cell, _, more := bytes.Cut(line, []byte{','})
	return more && strings.Trim(strings.TrimSpace(string(cell)), `"`) == "document"
}

func known(file string, column int, text string, kinds ...Kind) (Kind, error) {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		if names[i] = string(k); names[i] == text {
			return k, nil
		}
	}
	return "", Errors{{File: file, Line: 1, Column: column, Message: fmt.Sprintf("document kind %q is not known here", text), Hint: located.Hint(text, names)}}
}
