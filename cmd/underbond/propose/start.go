package propose

import (
	"fmt"
	"slices"
	"strings"

	"underbond/parsers/delimited"
)

// preamble describes the lines before the header row.
func (m *maker) preamble() {
	first := m.sheets[0]
	if first.prefix != "" {
		m.comment(first)
	}
	if len(first.preamble) == 0 {
		return
	}
	p := &m.Profile
	p.Preamble = &delimited.Preamble{Separator: m.separator(first)}
	if p.Header == "none" {
		p.Preamble.LineCount = len(first.preamble)
		m.decide("preamble.line_count", "the first row of data is line %d", first.rows[0].number)
	}
	if p.Preamble.Separator == open {
		return
	}
	for _, l := range first.preamble {
		name, text, ok := m.cut(&l)
		if !ok || slices.ContainsFunc(p.Preamble.Lines, func(f delimited.PreambleField) bool { return f.Name == name }) {
			continue
		}
		key := fmt.Sprintf("preamble.lines[%d]", len(p.Preamble.Lines))
		field := delimited.PreambleField{Name: name}
		switch meaning := guess(name, ""); {
		case slices.Contains(printedNames, plain(name)):
			field.Volatile = true
			m.decide(key, "changes with every export: it does not revise acquisitions")
		case meaning != "" && m.has(meaning) && meaning != delimited.MeaningStart:
			m.decide(key, "a column already says the %s", meaning)
		case meaning == delimited.MeaningStart && (m.has(meaning) && !m.startInPreamble() || !dateLike.MatchString(text) && !timeLike.MatchString(text)):
			m.decide(key, "%q is not taken for the start", text)
		case meaning == "run" || meaning == delimited.MeaningStart:
			field.Meaning, field.Required = meaning, true
		default:
			field.Meaning = meaning
		}
		p.Preamble.Lines = append(p.Preamble.Lines, field)
	}
}

// comment takes the prefix of comments, unless they may hold values.
func (m *maker) comment(s *sheet) {
	m.Profile.Comment = s.prefix
	for _, l := range s.comments {
		if strings.ContainsAny(strings.TrimPrefix(l.raw, s.prefix), ":=") {
			m.Profile.Comment = open
			m.ask("comment", "line %d, %q, may be a comment to pass over or a preamble line with a value", l.number, l.raw)
			return
		}
	}
	m.decide("comment", "%d lines begin so, the first is line %d", len(s.comments), s.comments[0].number)
}

// separator finds what stands between name and value in most preamble lines.
func (m *maker) separator(s *sheet) string {
	best, count, tied := "", 0, false
	for _, separator := range []string{":", "=", m.Profile.Delimiter} {
		n := 0
		for _, l := range s.preamble {
			if _, _, ok := cutLine(&l, separator, m.Profile.Delimiter); ok {
				n++
			}
		}
		switch {
		case n > count:
			best, count, tied = separator, n, false
		case n == count && n > 0:
			tied = true
		}
	}
	switch {
	case count == 0:
		m.decide("preamble.separator", "no line has a name and a value; they are kept as they are")
		return ":"
	case tied:
		m.ask("preamble.separator", `several separators cut %d lines into name and value: write ":", "=" or the delimiter`, count)
		return open
	}
	m.decide("preamble.separator", "it cuts %d of %d lines into name and value", count, len(s.preamble))
	return best
}

func (m *maker) cut(l *line) (name, text string, ok bool) {
	return cutLine(l, m.Profile.Preamble.Separator, m.Profile.Delimiter)
}

// cutLine cuts a preamble line as reading does.
func cutLine(l *line, separator, delimiter string) (name, text string, ok bool) {
	cells := l.cells
	for len(cells) > 1 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	if separator == delimiter {
		if len(cells) != 2 {
			return "", "", false
		}
		return cells[0], cells[1], cells[0] != "" && cells[1] != ""
	}
	whole := strings.TrimRight(l.raw, " "+delimiter)
	if len(cells) == 1 {
		whole = cells[0]
	}
	name, text, ok = strings.Cut(whole, separator)
	name, text = strings.TrimSpace(name), strings.TrimSpace(text)
	return name, text, ok && name != "" && text != "" && len(name) <= 60
}

// has tells whether a column or preamble line has a meaning.
func (m *maker) has(meaning string) bool {
	return slices.ContainsFunc(m.Profile.Columns, func(c delimited.ColumnSpec) bool { return c.Meaning == meaning }) || m.lineOf(meaning) >= 0
}

// lineOf gives the preamble line of a meaning, or -1.
func (m *maker) lineOf(meaning string) int {
	if m.Profile.Preamble == nil {
		return -1
	}
	return slices.IndexFunc(m.Profile.Preamble.Lines, func(f delimited.PreambleField) bool { return f.Meaning == meaning })
}

func (m *maker) startInPreamble() bool { return m.lineOf(delimited.MeaningStart) >= 0 }

// start settles which columns or lines give the start, and its form.
func (m *maker) start() {
	p := &m.Profile
	if m.startInPreamble() {
		for _, s := range m.sheets {
			var texts []string
			for _, l := range s.preamble {
				name, text, ok := m.cut(&l)
				if i := slices.IndexFunc(p.Preamble.Lines, func(f delimited.PreambleField) bool { return f.Name == name }); ok && i >= 0 && p.Preamble.Lines[i].Meaning == delimited.MeaningStart {
					texts = append(texts, text)
				}
			}
			m.joined = append(m.joined, strings.Join(texts, " "))
		}
		m.dateFormat()
		return
	}
	var whole, parts []int
	for i, c := range p.Columns {
		switch {
		case c.Meaning != delimited.MeaningStart:
		case m.columns[i].kind == kindDate && strings.Contains(m.columns[i].values[0].text, ":"):
			whole = append(whole, i)
		default:
			parts = append(parts, i)
		}
	}
	switch {
	case len(whole) == 1:
		for _, i := range parts {
			m.decide(fmt.Sprintf("columns[%d]", i), "column %q has date and time already", m.columns[whole[0]].name)
			p.Columns[i].Meaning = ""
		}
		parts = whole
	case len(whole) > 1:
		for _, i := range whole {
			m.ask(fmt.Sprintf("columns[%d]", i), "which of the dates is the start? Give the others no meaning")
			p.Columns[i].Meaning = open
		}
		return
	case len(parts) == 0:
		m.noStart()
		return
	case len(parts) == 1 || len(parts) > 2 || m.columns[parts[0]].kind != kindDate || m.columns[parts[1]].kind != kindTime:
		for _, i := range parts {
			m.ask(fmt.Sprintf("columns[%d]", i), "a date and a time behind it make a start, and here are others: %s", some([]string{m.columns[i].values[0].text}))
			p.Columns[i].Meaning = open
		}
		return
	}
	for _, i := range parts {
		p.Columns[i].Type = kindTypeTime
	}
	for _, s := range m.sheets {
		for _, l := range s.rows {
			var texts []string
			for _, i := range parts {
				if l.cells[i] != "" {
					texts = append(texts, l.cells[i])
				}
			}
			if len(texts) > 0 {
				m.joined = append(m.joined, strings.Join(texts, " "))
			}
		}
	}
	m.dateFormat()
}

const kindTypeTime = "time" // of the column type

// noStart asks about dates that could be the start under another name.
func (m *maker) noStart() {
	for i, c := range m.columns {
		if c.kind == kindDate && strings.Contains(c.values[0].text, ":") {
			m.ask(fmt.Sprintf("columns[%d]", i), "is this the start of the acquisition? If so: meaning start, type time, and a date_format; else no meaning")
			m.Profile.Columns[i].Meaning = open
		}
	}
}

// dateFormat finds the forms that all starts have.
func (m *maker) dateFormat() {
	p := &m.Profile
	byOrder := map[string]string{}
	var orders []string
	for _, f := range dateForms(m.joined) {
		if byOrder[f.order] != "" || slices.ContainsFunc(m.joined, func(text string) bool { return !delimited.FitsDate(text, f.format) }) {
			continue
		}
		byOrder[f.order] = f.format
		orders = append(orders, f.order)
	}
	switch len(orders) {
	case 1:
		p.DateFormat = byOrder[orders[0]]
		m.decide("date_format", "all %d starts have this form, such as %q", len(m.joined), m.joined[0])
		if strings.Contains(p.DateFormat, "Z") {
			m.decide("date_format", "the starts say what their clock is ahead of UTC")
		}
	case 0:
		p.DateFormat = open
		m.ask("date_format", "the starts have no form that is known, or different ones: %s", some(m.joined))
	default:
		p.DateFormat = open
		choices := make([]string, len(orders))
		for i, order := range orders {
			choices[i] = byOrder[order]
		}
		m.ask("date_format", "%s can be read as %s", some(m.joined), quoted(choices))
	}
}

// dateForm is a form of the start. Forms of one order read a text alike.
type dateForm struct{ format, order string }

// dateForms lists forms that the first of some starts may have, the stricter ones of
// each order first. Dates with points have the day first wherever they are written.
func dateForms(starts []string) []dateForm {
	var forms []dateForm
	if len(starts) == 0 {
		return nil
	}
	clocks, betweens, zones := clock24, []string{" ", ", "}, []string{""}
	first := strings.ToUpper(starts[0])
	if strings.HasSuffix(first, "AM") || strings.HasSuffix(first, "PM") {
		clocks = clock12
	}
	if strings.Contains(first, "T") {
		betweens = append(betweens, "T")
	}
	if i := strings.LastIndexByte(first, ':'); strings.HasSuffix(first, "Z") || strings.ContainsAny(first[i+1:], "+-") || strings.Count(first, ":") > 2 {
		zones = append(zones, "Z", " Z", "ZZ", " ZZ")
	}
	for _, date := range []dateForm{
		{"YYYY-MM-DD", "year"}, {"YYYY/MM/DD", "year"}, {"YYYY.MM.DD", "year"},
		{"DD.MM.YYYY", "day"}, {"D.M.YYYY", "day"}, {"DD/MM/YYYY", "day"}, {"D/M/YYYY", "day"}, {"DD-MM-YYYY", "day"}, {"D-M-YYYY", "day"},
		{"DD-MMM-YYYY", "day"}, {"D-MMM-YYYY", "day"}, {"DD MMM YYYY", "day"}, {"D MMM YYYY", "day"}, {"D MMMM YYYY", "day"},
		{"MM/DD/YYYY", "month"}, {"M/D/YYYY", "month"}, {"MM-DD-YYYY", "month"}, {"M-D-YYYY", "month"},
		{"YY-MM-DD", "short year"}, {"YY/MM/DD", "short year"}, {"YY.MM.DD", "short year"},
		{"DD.MM.YY", "day, short year"}, {"DD/MM/YY", "day, short year"}, {"DD-MM-YY", "day, short year"}, {"DD-MMM-YY", "day, short year"}, {"D/M/YY", "day, short year"},
		{"MM/DD/YY", "month, short year"}, {"M/D/YY", "month, short year"},
	} {
		for _, between := range betweens {
			for _, clock := range clocks {
				for _, zone := range zones {
					forms = append(forms, dateForm{date.format + between + clock + zone, date.order})
				}
			}
		}
	}
	return forms
}

var (
	clock24 = []string{"HH:mm:ss", "HH:mm"}
	clock12 = []string{"hh:mm:ss A", "h:mm:ss A", "hh:mm A", "h:mm A"}
)
