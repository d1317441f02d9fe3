package propose

import (
	"slices"
	"strconv"
	"strings"

	"underbond/parsers/delimited"
)

// keys are sets of meanings that can identify an acquisition in all exports of an
// instrument; the likelier first.
var keys = [][]string{
	{"run", "injection"}, {"run", "vial"}, {"start", "vial"}, {"start", "sample"}, {"start", "injection"}, {"run", "sample"}, {"run", "start"}, {"start"},
}

// shape settles whether several rows make an acquisition, and what identifies one.
func (m *maker) shape() {
	p := &m.Profile
	p.Shape = "wide"
	why := "no column names analytes or numbers replicates"
	for _, meaning := range []string{delimited.MeaningAnalyte, delimited.MeaningReplicate} {
		if m.has(meaning) {
			p.Shape = "long"
			why = "the rows of an acquisition differ by " + meaning
			break
		}
	}
	m.decide("shape", "%s", why)
	if p.Header == "none" {
		p.Key = []string{open}
		m.ask("key", "without names the meanings are not known: give columns meanings, then name those that identify an acquisition (run and injection, start and vial, …), or leave the key out")
		return
	}
	var fitting [][]string
	for _, key := range keys {
		if m.identifies(key) {
			fitting = append(fitting, key)
		}
	}
	if len(fitting) == 0 {
		p.Key = []string{open}
		m.ask("key", "no usual set of meanings (run and injection, start and vial, …) identifies the acquisitions here and in other files: name one, or leave the key out, and the file's place identifies them")
		return
	}
	p.Key = fitting[0]
	others := ""
	for _, key := range fitting[1:] {
		others += "; also [" + strings.Join(key, ", ") + "]"
	}
	m.decide("key", "it tells all acquisitions here apart%s", others)
}

// identifies tells whether a key fits: all its meanings are there, no acquisition has
// it empty and no two have it alike.
func (m *maker) identifies(key []string) bool {
	for _, meaning := range key {
		if !m.has(meaning) {
			return false
		}
	}
	seen := map[string]bool{}
	for _, s := range m.sheets {
		last := ""
		for i := range s.rows {
			text := ""
			for _, meaning := range key {
				one, ok := m.fact(s, &s.rows[i], meaning)
				if !ok {
					return false
				}
				text += strconv.Quote(one)
			}
			if m.Profile.Shape == "long" && text == last {
				if !m.agree(&s.rows[i-1], &s.rows[i]) {
					return false
				}
				continue
			}
			if seen[text] {
				return false
			}
			seen[text], last = true, text
		}
	}
	return true
}

// fact gives the text of a meaning in a row or the preamble.
func (m *maker) fact(s *sheet, l *line, meaning string) (text string, ok bool) {
	for i, c := range m.Profile.Columns {
		if c.Meaning == meaning {
			text += " " + l.cells[i]
		}
	}
	if strings.TrimSpace(text) != "" {
		return text, true
	}
	if m.lineOf(meaning) < 0 {
		return "", false
	}
	for _, before := range s.preamble {
		name, value, ok := m.cut(&before)
		if i := slices.IndexFunc(m.Profile.Preamble.Lines, func(f delimited.PreambleField) bool { return f.Name == name }); ok && i >= 0 && m.Profile.Preamble.Lines[i].Meaning == meaning {
			text += " " + value
		}
	}
	return text, strings.TrimSpace(text) != ""
}

// agree tells whether two rows of one acquisition say the same of it.
func (m *maker) agree(a, b *line) bool {
	for i, c := range m.Profile.Columns {
		if slices.Contains([]string{"start", "vial", "sample", "title", delimited.MeaningOffset}, c.Meaning) && a.cells[i] != b.cells[i] {
			return false
		}
	}
	return true
}

// end settles what proves that an export is complete.
func (m *maker) end() {
	p := &m.Profile
	first := m.sheets[0]
	without := slices.ContainsFunc(m.sheets, func(s *sheet) bool { return s.footer == nil })
	switch {
	case first.footer != nil && without:
		p.Footer = open
		m.ask("footer", "some files end with a line such as %q, and some do not", first.footer.raw)
	case first.footer != nil:
		m.footer()
	case slices.ContainsFunc(m.sheets, func(s *sheet) bool { return !s.ended }):
		p.End = open
		m.ask("end", "the last line has no line end: does the program write none (none), or was the file cut (newline)?")
	default:
		p.End = "newline"
		m.decide("end", "all files end with a line end, and no footer follows the rows; a file cut between two rows will not be found out")
	}
}

// footer proposes the last line, with the number of rows in its place.
func (m *maker) footer() {
	texts := map[string]bool{}
	for _, s := range m.sheets {
		raw := strings.TrimRight(s.footer.raw, " "+m.Profile.Delimiter)
		texts[withCount(raw, len(s.rows))] = true
	}
	first := m.sheets[0]
	text := withCount(strings.TrimRight(first.footer.raw, " "+m.Profile.Delimiter), len(first.rows))
	rest := strings.ReplaceAll(text, "{rows}", "")
	switch {
	case len(texts) > 1:
		m.Profile.Footer = open
		m.ask("footer", "the last lines differ; the first is %q", first.footer.raw)
	case strings.ContainsAny(rest, "0123456789"):
		m.Profile.Footer = open
		m.ask("footer", "%q has a number, and there are %d rows: is it the same in every export?", first.footer.raw, len(first.rows))
	default:
		m.Profile.Footer = text
		m.decide("footer", "the last line of the file, line %d", first.footer.number)
	}
}

// withCount writes {rows} for the number of rows where it stands alone in a text.
func withCount(text string, rows int) string {
	count := strconv.Itoa(rows)
	for from := 0; ; {
		i := strings.Index(text[from:], count)
		if i < 0 {
			return text
		}
		i += from
		end := i + len(count)
		alone := (i == 0 || !isDigit(text[i-1])) && (end == len(text) || !isDigit(text[end]))
		if alone {
			return text[:i] + "{rows}" + text[end:]
		}
		from = end
	}
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
