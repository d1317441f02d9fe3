package propose

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
)

// YAML gives the profile as a document, each decision and question as a comment above
// what it concerns.
func (p *Proposal) YAML() []byte {
	w := &writer{proposal: p}
	f := &p.Profile
	w.line(0, "# Proposed from %d file(s): %d rows of %d columns.", p.Files, p.Rows, p.Columns)
	if n := len(p.Questions); n > 0 {
		w.line(0, "# %d open question(s): look for %s. The profile is refused until they are answered.", n, open)
	}
	w.line(0, "kind: profile")
	w.text("name", f.Name)
	w.text("version", f.Version)
	w.text("encoding", f.Encoding)
	w.text("delimiter", f.Delimiter)
	w.text("quoting", f.Quoting)
	w.text("decimal_mark", f.DecimalMark)
	w.text("group_mark", f.GroupMark)
	w.text("comment", f.Comment)
	w.preamble()
	w.notes(0, "header")
	if f.Header != "" {
		w.line(0, "header: %s", scalar(f.Header))
	}
	w.columns()
	w.text("shape", f.Shape)
	w.notes(0, "key")
	if len(f.Key) > 0 {
		w.line(0, "key: %s", list(f.Key))
	}
	w.text("date_format", f.DateFormat)
	w.qualifiers()
	w.text("end", f.End)
	w.text("footer", f.Footer)
	return []byte(w.out.String())
}

type writer struct {
	proposal *Proposal
	out      strings.Builder
}

func (w *writer) line(indent int, format string, args ...any) {
	w.out.WriteString(strings.Repeat("  ", indent))
	fmt.Fprintf(&w.out, format, args...)
	w.out.WriteByte('\n')
}

// text writes a key with its comments; an empty one only has comments.
func (w *writer) text(key, value string) {
	w.notes(0, key)
	if value != "" {
		w.line(0, "%s: %s", key, scalar(value))
	}
}

func (w *writer) notes(indent int, key string) {
	for _, n := range w.proposal.Decisions {
		if n.Key == key {
			w.line(indent, "# %s", oneLine(n.Text))
		}
	}
	for _, n := range w.proposal.Questions {
		if n.Key == key {
			w.line(indent, "# %s: %s", open, oneLine(n.Text))
		}
	}
}

func (w *writer) preamble() {
	pre := w.proposal.Profile.Preamble
	if pre == nil {
		return
	}
	w.line(0, "preamble:")
	w.notes(1, "preamble.separator")
	w.line(1, "separator: %s", scalar(pre.Separator))
	w.notes(1, "preamble.line_count")
	if pre.LineCount > 0 {
		w.line(1, "line_count: %d", pre.LineCount)
	}
	if len(pre.Lines) == 0 {
		return
	}
	w.line(1, "lines:")
	for i, f := range pre.Lines {
		w.notes(2, fmt.Sprintf("preamble.lines[%d]", i))
		item := "name: " + scalar(f.Name)
		if f.Meaning != "" {
			item += ", meaning: " + scalar(f.Meaning)
		}
		if f.Required {
			item += ", required: true"
		}
		if f.Volatile {
			item += ", volatile: true"
		}
		w.line(2, "- {%s}", item)
	}
}

func (w *writer) columns() {
	w.line(0, "columns:")
	for i, c := range w.proposal.Profile.Columns {
		w.notes(1, fmt.Sprintf("columns[%d]", i))
		item := "name: " + scalar(c.Name)
		if c.Number > 0 {
			item += fmt.Sprintf(", number: %d", c.Number)
		}
		if c.Meaning != "" {
			item += ", meaning: " + scalar(c.Meaning)
		}
		if c.Unit != "" {
			item += ", unit: " + scalar(c.Unit)
		}
		w.line(1, "- {%s, type: %s}", item, scalar(c.Type))
	}
}

func (w *writer) qualifiers() {
	q := &w.proposal.Profile.Qualifiers
	w.notes(0, "qualifiers")
	lists := []struct {
		key   string
		texts []string
	}{
		{"below", q.Below}, {"above", q.Above}, {"below_range", q.BelowRange}, {"above_range", q.AboveRange},
		{"not_found", q.NotFound}, {"not_a_number", q.NotANumber}, {"empty", q.Empty},
	}
	n := len(q.AfterNumber)
	for _, l := range lists {
		n += len(l.texts)
	}
	if n == 0 {
		return
	}
	w.line(0, "qualifiers:")
	for _, l := range lists {
		if len(l.texts) > 0 {
			w.line(1, "%s: %s", l.key, list(l.texts))
		}
	}
	if len(q.AfterNumber) > 0 {
		w.line(1, "after_number:")
		for _, f := range q.AfterNumber {
			w.line(2, "- {text: %s, says: %s}", scalar(f.Text), scalar(f.Says))
		}
	}
}

func list(texts []string) string {
	written := make([]string, len(texts))
	for i, text := range texts {
		written[i] = scalar(text)
	}
	return "[" + strings.Join(written, ", ") + "]"
}

// simple texts need no quotes in YAML: words that begin with a letter, but for those
// that other readers take for a truth value or nothing.
var simple = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_./ -]*[A-Za-z0-9_./-]$|^[A-Za-z]$`)

var reserved = regexp.MustCompile(`^(?i:y|n|yes|no|on|off|true|false|null)$`)

// scalar writes a text as a YAML scalar.
func scalar(text string) string {
	if simple.MatchString(text) && !reserved.MatchString(text) {
		return text
	}
	var b strings.Builder
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(text); err != nil {
		return open // no text fails to encode; a reader of the profile would refuse this
	}
	return strings.NewReplacer("\u007f", `\u007f`, "\u00a0", `\u00a0`, "\u202f", `\u202f`).Replace(strings.TrimSpace(b.String()))
}

// oneLine keeps a comment on its line.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '\u2028' || r == '\u2029' || r == '\u0085' {
			return ' '
		}
		return r
	}, text)
}
