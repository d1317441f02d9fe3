package located

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

const (
	maxDocument = 1 << 20 // bytes; a method of a hundred analytes has some tens of kilobytes
	maxNesting  = 32
)

// Document is a YAML document that was decoded: its faults so far and the place of
// every key and item.
type Document struct {
	File   string
	Faults Errors
	places map[string]*token.Token
}

// Decode reads data into the struct that into points to, by the yaml tags of its
// fields. It is strict: one document, no unknown or repeated keys, no anchors,
// aliases or tags, decimal numbers only, and a key that is there has a value. A text
// field takes any scalar as written, so that version: 1.10 stays "1.10".
//
// All faults found are in the Document; the caller adds its own by path and ends
// with Err.
func Decode(file string, data []byte, into any) *Document {
	d := &Document{File: file, places: map[string]*token.Token{}}
	if body := d.parse(data); body != nil {
		d.decode(body, into)
	}
	return d
}

// Err is nil or the faults, sorted.
func (d *Document) Err() error { return d.Faults.Err() }

// Has tells whether the document has the path, such as "analytes[2].report.unit".
func (d *Document) Has(path string) bool {
	_, ok := d.places[path]
	return ok
}

// Fault adds a fault at path. Where the document does not have the path (a missing
// key), the place is that of the nearest enclosing one it has.
func (d *Document) Fault(path, hint, format string, args ...any) {
	fault := Error{File: d.File, Message: fmt.Sprintf(format, args...), Hint: hint}
	for at := path; ; at = parent(at) {
		if tk, ok := d.places[at]; ok {
			fault.Line, fault.Column = tk.Position.Line, tk.Position.Column
			break
		}
		if at == "" {
			break
		}
	}
	d.Faults = append(d.Faults, fault)
}

// parent is path without its last step.
func parent(path string) string {
	if i := strings.LastIndexAny(path, ".["); i >= 0 {
		return path[:i]
	}
	return ""
}

func (d *Document) faultAt(tk *token.Token, hint, format string, args ...any) {
	fault := Error{File: d.File, Message: fmt.Sprintf(format, args...), Hint: hint}
	if tk != nil && tk.Position != nil {
		fault.Line, fault.Column = tk.Position.Line, tk.Position.Column
	}
	d.Faults = append(d.Faults, fault)
}

// parse gives the root of the only document in data, or nil with faults.
func (d *Document) parse(data []byte) ast.Node {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if len(data) > maxDocument {
		d.faultAt(nil, "", "the document has %d bytes, more than %d", len(data), maxDocument)
		return nil
	}
	if line, column, what := unreadable(data); what != "" {
		d.Faults = append(d.Faults, Error{File: d.File, Line: line, Column: column, Message: what, Hint: "save the file as UTF-8 text"})
		return nil
	}
	tokens := lexer.Tokenize(string(data))
	if !d.shallow(tokens) {
		return nil
	}
	tree, err := parseTokens(tokens)
	if err != nil {
		var syntax *yaml.SyntaxError
		if errors.As(err, &syntax) {
			d.faultAt(syntax.GetToken(), "check indentation, colons and quotes on this line and the one before", "not YAML: %s", syntax.GetMessage())
		} else {
			d.faultAt(nil, "", "not YAML: %v", err)
		}
		return nil
	}
	var bodies []ast.Node
	for _, doc := range tree.Docs {
		if doc.Body != nil {
			bodies = append(bodies, doc.Body)
		}
	}
	switch len(bodies) {
	case 0:
		d.faultAt(nil, "", "the document is empty")
		return nil
	case 1:
		return bodies[0]
	}
	d.faultAt(first(bodies[1]), "give each document its own file", "a second YAML document begins here")
	return nil
}

// unreadable finds the first byte that is not UTF-8 or is a control character.
func unreadable(data []byte) (line, column int, what string) {
	line, column = 1, 1
	for len(data) > 0 {
		r, size := utf8.DecodeRune(data)
		switch {
		case r == utf8.RuneError && size == 1:
			return line, column, fmt.Sprintf("byte 0x%02X is not valid UTF-8", data[0])
		case r < ' ' && r != '\t' && r != '\n' && r != '\r', r == 0x7f:
			return line, column, fmt.Sprintf("control character U+%04X", r)
		case r == '\n':
			line, column = line+1, 0
		}
		data, column = data[size:], column+1
	}
	return 0, 0, ""
}

// shallow refuses nesting that would make a recursive parser run deep, and the
// constructs that make a small document large.
func (d *Document) shallow(tokens token.Tokens) bool {
	flow, entries, line := 0, 0, 0
	for _, tk := range tokens {
		switch tk.Type {
		case token.MappingStartType, token.SequenceStartType:
			flow++
		case token.MappingEndType, token.SequenceEndType:
			flow--
		case token.SequenceEntryType, token.MappingKeyType:
			if tk.Position.Line != line {
				line, entries = tk.Position.Line, 0
			}
			entries++
		case token.AnchorType, token.AliasType, token.TagType, token.MergeKeyType, token.DirectiveType:
			d.faultAt(tk, "write the value out; a text that begins with this character needs quotes", "anchors, aliases, tags and directives are not allowed: %q", tk.Value)
			return false
		}
		if flow > maxNesting || entries > maxNesting || tk.Position.IndentNum > 8*maxNesting {
			d.faultAt(tk, "", "more than %d levels of nesting", maxNesting)
			return false
		}
	}
	return true
}

// parseTokens turns a panic of the YAML parser on hostile input into an error: a
// document from a watched folder may not stop the daemon.
func parseTokens(tokens token.Tokens) (tree *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil {
			tree, err = nil, fmt.Errorf("the parser gave up: %v", r)
		}
	}()
	return parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
}
