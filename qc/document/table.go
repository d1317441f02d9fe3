package document

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"underbond/parsers/delimited/rows"
	"underbond/parsers/located"
)

const maxTable = 32 << 20 // bytes of a CSV document: some hundred thousand rows

// Layout describes a CSV document: its kind, the keys of its identity row beside
// name, version, author and reason, and its columns.
type Layout struct {
	Kind     Kind
	Identity []string // further required keys
	Columns  []string // all known columns
	Required []string // columns that may not be absent
}

// Table is a CSV document as read: the identity and the rows, with all faults so far.
type Table struct {
	File     string
	Identity map[string]string
	Rows     []Row
	Faults   Errors

	columns map[string]int
	places  map[string]place // of identity values
}

type place struct{ line, column int }

// Row is one data row of a CSV document.
type Row struct {
	Line   int
	table  *Table
	cells  []string
	places []place
}

// ReadTable reads a CSV document. The error is non-nil when the rows cannot be told
// apart; other faults gather in the Table, to which the caller adds its own before
// it asks for Err.
func ReadTable(file string, data []byte, layout Layout) (*Table, error) {
	t := &Table{File: file, Identity: map[string]string{}, columns: map[string]int{}, places: map[string]place{}}
	if len(data) > maxTable {
		return nil, Errors{{File: file, Message: fmt.Sprintf("the document has %d bytes, more than %d", len(data), maxTable)}}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	scanner := rows.New(bytes.NewReader(data), rows.Options{Delimiter: ',', MaxRow: 1 << 20})
	if err := t.head(scanner, layout); err != nil {
		return nil, err
	}
	for {
		row, err := t.next(scanner)
		if err == io.EOF {
			return t, nil
		}
		if err != nil {
			return nil, err
		}
		if len(row.cells) != len(t.columns) {
			t.fault(place{row.Line, 1}, "a comma inside a cell needs quotes around the cell",
				"the row has %d cells, the header %d", len(row.cells), len(t.columns))
			continue
		}
		t.Rows = append(t.Rows, *row)
	}
}

// Err is nil or all faults, sorted by place.
func (t *Table) Err() error { return t.Faults.Err() }

// next gives the next row that is not empty, its cells trimmed.
func (t *Table) next(scanner *rows.Scanner) (*Row, error) {
	for {
		raw, err := scanner.Next()
		if err == io.EOF {
			return nil, err
		}
		if err != nil {
			return nil, t.scanFault(err)
		}
		row := &Row{Line: raw.Line, table: t}
		written := false
		for i, cell := range raw.Cells {
			text := strings.TrimSpace(string(cell))
			written = written || text != ""
			line, column := raw.Place(i)
			row.cells = append(row.cells, text)
			row.places = append(row.places, place{line, column})
		}
		if written {
			return row, nil
		}
	}
}

func (t *Table) scanFault(err error) error {
	var f *rows.Fault
	if !errors.As(err, &f) {
		return fmt.Errorf("read %s: %w", t.File, err)
	}
	hints := map[string]string{
		rows.CodeQuote:    `enclose the whole cell in quotes and write a quote inside it twice: "5"" bottle"`,
		rows.CodeLineEnd:  "save the file again as CSV with one kind of line end",
		rows.CodeNUL:      "save the file as CSV in UTF-8",
		rows.CodeEncoding: "save the file as CSV in UTF-8",
	}
	t.fault(place{f.Line, f.Column}, hints[f.Code], "%s", f.Message)
	return t.Err()
}

// head reads the identity row and the header row.
func (t *Table) head(scanner *rows.Scanner, layout Layout) error {
	const begin = "the first row is document,%s,name,NAME,version,VERSION,…"
	row, err := t.next(scanner)
	if err == io.EOF {
		return Errors{{File: t.File, Message: "the document is empty", Hint: fmt.Sprintf(begin, layout.Kind)}}
	}
	if err != nil {
		return err
	}
	if row.cells[0] != "document" {
		t.fault(row.places[0], fmt.Sprintf(begin, layout.Kind), "the document begins with %q, not with its identity row", row.cells[0])
		return t.Err()
	}
	t.identity(row, layout)
	header, err := t.next(scanner)
	if err == io.EOF {
		t.fault(place{row.Line + 1, 1}, "columns: "+strings.Join(layout.Columns, ", "), "the header row is missing")
		return t.Err()
	}
	if err != nil {
		return err
	}
	return t.header(header, layout)
}

// identity reads the key,value pairs of the first row.
func (t *Table) identity(row *Row, layout Layout) {
	cells := row.cells
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	allowed := slices.Concat([]string{"document", "name", "version"}, layout.Identity, []string{"author", "reason"})
	for i := 0; i < len(cells); i += 2 {
		key := cells[i]
		switch _, twice := t.places[key]; {
		case !slices.Contains(allowed, key):
			t.fault(row.places[i], located.Hint(key, allowed), "unknown key %q in the identity row", key)
			continue
		case twice:
			t.fault(row.places[i], "keep one of the two", "key %q is given twice in the identity row", key)
			continue
		}
		t.places[key] = row.places[i]
		if i+1 < len(cells) {
			t.Identity[key] = cells[i+1]
			t.places[key] = row.places[i+1]
		}
	}
	for _, key := range slices.Concat([]string{"document", "name", "version"}, layout.Identity) {
		if t.Identity[key] == "" {
			t.fault(t.identityPlace(key), "", "%s is missing in the identity row", key)
		}
	}
	if kind := t.Identity["document"]; kind != "" && kind != string(layout.Kind) {
		t.fault(t.identityPlace("document"), "", "the document is a %q, not a %q", kind, layout.Kind)
	}
	for _, key := range []string{"name", "version"} {
		if text := t.Identity[key]; text != "" && !located.IsName(text) {
			t.fault(t.identityPlace(key), located.NameHint, "%s is %q", key, text)
		}
	}
	if v := t.Identity["version"]; v != "" && v != "1" {
		for _, key := range []string{"author", "reason"} {
			if t.Identity[key] == "" {
				t.fault(t.identityPlace(key), "a change says who made it and why", "%s is missing in the identity row of version %s", key, v)
			}
		}
	}
}

func (t *Table) identityPlace(key string) place {
	if at, ok := t.places[key]; ok {
		return at
	}
	return place{1, 1}
}

// IdentityFault adds a fault at a key of the identity row.
func (t *Table) IdentityFault(key, hint, format string, args ...any) {
	t.fault(t.identityPlace(key), hint, format, args...)
}

func (t *Table) header(row *Row, layout Layout) error {
	before := len(t.Faults)
	for i, name := range row.cells {
		switch other, twice := t.columns[name]; {
		case !slices.Contains(layout.Columns, name):
			t.fault(row.places[i], located.Hint(name, layout.Columns), "unknown column %q", name)
		case twice:
			t.fault(row.places[i], "keep one of the two", "column %q is already column %d", name, other+1)
		default:
			t.columns[name] = i
		}
	}
	for _, name := range layout.Required {
		if _, ok := t.columns[name]; !ok {
			t.fault(place{row.Line, 1}, "", "column %q is missing", name)
		}
	}
	if len(t.Faults) > before {
		// Which cell is which is not certain: what the rows say would be noise.
		return t.Err()
	}
	return nil
}

func (t *Table) fault(at place, hint, format string, args ...any) {
	t.Faults = append(t.Faults, Error{File: t.File, Line: at.line, Column: at.column, Message: fmt.Sprintf(format, args...), Hint: hint})
}
