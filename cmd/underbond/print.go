package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"
)

// printJSON writes one JSON value and a line break.
func printJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(v); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}

// table writes rows in columns. Text from files is made safe for a terminal.
type table struct {
	w    *tabwriter.Writer
	errs []error
}

func newTable(w io.Writer, head ...string) *table {
	t := &table{w: tabwriter.NewWriter(w, 2, 8, 2, ' ', 0)}
	t.row(head...)
	return t
}

func (t *table) row(cells ...string) {
	for i, cell := range cells {
		cells[i] = safe(cell)
	}
	if _, err := fmt.Fprintln(t.w, strings.Join(cells, "\t")); err != nil {
		t.errs = append(t.errs, err)
	}
}

func (t *table) flush() error {
	if err := t.w.Flush(); err != nil {
		return fmt.Errorf("write the table: %w", err)
	}
	if len(t.errs) > 0 {
		return fmt.Errorf("write the table: %w", t.errs[0])
	}
	return nil
}

// safe replaces what could steer a terminal or break a line.
func safe(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029' {
			return '\uFFFD'
		}
		return r
	}, text)
}
