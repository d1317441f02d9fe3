package document

import (
	"strconv"
	"strings"
	"time"

	"underbond/parsers/located"
)

// Text gives the cell of a column, without surrounding spaces; "" when the column is absent.
func (r *Row) Text(column string) string {
	if i, ok := r.table.columns[column]; ok {
		return r.cells[i]
	}
	return ""
}

// Fault adds a fault at the cell of a column.
func (r *Row) Fault(column, hint, format string, args ...any) {
	at := place{r.Line, 1}
	if i, ok := r.table.columns[column]; ok {
		at = r.places[i]
	}
	r.table.fault(at, hint, format, args...)
}

// Need gives a cell that may not be empty.
func (r *Row) Need(column string) string {
	text := r.Text(column)
	if text == "" {
		r.Fault(column, "", "%s is empty", column)
	}
	return text
}

// OneOf gives a cell that must be one of allowed; an empty one is left to Need.
func (r *Row) OneOf(column string, allowed ...string) string {
	text := r.Text(column)
	if text == "" {
		return ""
	}
	for _, a := range allowed {
		if a == text {
			return text
		}
	}
	r.Fault(column, located.Hint(text, allowed), "%s is %q", column, text)
	return ""
}

// Number gives the number of a cell, nil when it is empty or faulty.
func (r *Row) Number(column string) *float64 {
	text := r.Text(column)
	if text == "" {
		return nil
	}
	v, err := located.Number(text)
	if err != nil {
		r.Fault(column, "write a decimal number with a point, without its unit", "%s: %v", column, err)
		return nil
	}
	return &v
}

// Count gives the whole number from 1 of a cell, 0 when it is empty or faulty.
func (r *Row) Count(column string) int {
	text := r.Text(column)
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || text[0] == '+' {
		r.Fault(column, "write a whole number from 1", "%s is %q", column, text)
		return 0
	}
	return n
}

// Date gives a cell that is empty or a date such as 2026-01-05.
func (r *Row) Date(column string) string {
	return r.moment(column, "write the date as 2026-01-05", time.DateOnly)
}

// Moment gives a cell that is empty, a date, or a date and time with its offset from UTC (RFC 3339).
func (r *Row) Moment(column string) string {
	return r.moment(column, "write the date as 2026-01-05, or with time and offset as 2026-01-05T09:30:00+01:00", time.DateOnly, time.RFC3339)
}

func (r *Row) moment(column, hint string, layouts ...string) string {
	text := r.Text(column)
	if text == "" {
		return ""
	}
	for _, layout := range layouts {
		if _, err := time.Parse(layout, text); err == nil {
			return text
		}
	}
	r.Fault(column, hint, "%s: %q is not a date", column, text)
	return ""
}

// List gives the items of a cell that are separated by semicolons.
func (r *Row) List(column string) []string {
	text := r.Text(column)
	if text == "" {
		return nil
	}
	var items []string
	for _, item := range strings.Split(text, ";") {
		item = strings.TrimSpace(item)
		if item == "" {
			r.Fault(column, "separate the items by single semicolons", "%s has an empty item in %q", column, text)
			continue
		}
		items = append(items, item)
	}
	return items
}
