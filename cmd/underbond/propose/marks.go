package propose

import (
	"fmt"
	"regexp"
	"strings"

	"underbond/parsers/delimited"
)

const open = delimited.OpenQuestion

// Texts that look like numbers by whatever marks, with what may stand before and behind
// them, and like dates and times of day.
var (
	numberLike = regexp.MustCompile(`^(<=?|>=?|≤|≥|~)?\s*[+-]?(\d[\d.,'’\x{00a0}\x{202f} ]*|[.,]\d+)([eE][+-]?\d+)?\s*([#*!]{1,2})?$`)
	dateLike   = regexp.MustCompile(`^(\d{1,4}[./-](\d{1,2}|[A-Za-z]{3,9})[./-]\d{1,4}|\d{1,2} [A-Za-z]{3,9} \d{2,4})([T, ].*)?$`)
	timeLike   = regexp.MustCompile(`^\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?( ?[AaPp][Mm])?( ?(Z|[+-]\d{2}:?\d{2}))?$`)
	thousands  = regexp.MustCompile(`^[+-]?\d{1,3}([ '’\x{00a0}\x{202f}]\d{3})+([.,]\d*)?([eE][+-]?\d+)?$`)
)

// isNumber tells texts that some marks make a number, with or without a qualifier.
func isNumber(cell string) bool {
	if !numberLike.MatchString(cell) || dateLike.MatchString(cell) {
		return false
	}
	_, number, _ := bare(cell)
	return !strings.ContainsAny(number, strings.Join(groupMarks, "")) || thousands.MatchString(number)
}

func isData(cell string) bool {
	return isNumber(cell) || dateLike.MatchString(cell) || timeLike.MatchString(cell)
}

// bare takes qualifiers and sign off a number.
func bare(cell string) (before, number, after string) {
	m := numberLike.FindStringSubmatch(cell)
	if m == nil {
		return "", cell, ""
	}
	number = strings.TrimSpace(strings.TrimSuffix(strings.TrimPrefix(cell, m[1]), m[4]))
	return m[1], number, m[4]
}

// evidence counts what numbers say of the marks.
type evidence struct {
	point, comma         []string // numbers in which it can only be the decimal mark
	pointOpen, commaOpen []string // numbers in which it can be either: 1,234
	groups               map[string][]string
}

// groupMarks are the marks between thousands besides point and comma.
var groupMarks = []string{"'", "’", "\u00a0", "\u202f", " "}

func (e *evidence) see(number string) {
	text := strings.TrimLeft(number, "+-")
	if i := strings.IndexAny(text, "eE"); i >= 0 {
		text = text[:i]
	}
	for _, g := range groupMarks {
		if strings.Contains(text, g) {
			e.groups[g] = append(e.groups[g], number)
			text = strings.ReplaceAll(text, g, "")
		}
	}
	points, commas := strings.Count(text, "."), strings.Count(text, ",")
	last := strings.LastIndexAny(text, ".,")
	switch {
	case last < 0:
	case points > 0 && commas > 0: // the last one is the decimal mark
		if text[last] == '.' {
			e.point, e.groups[","] = append(e.point, number), append(e.groups[","], number)
		} else {
			e.comma, e.groups["."] = append(e.comma, number), append(e.groups["."], number)
		}
	case points > 1:
		e.groups["."] = append(e.groups["."], number)
	case commas > 1:
		e.groups[","] = append(e.groups[","], number)
	case len(text)-last-1 == 3 && last >= 1 && last <= 3 && text[0] != '0' && !strings.ContainsAny(number, "eE'’\u00a0\u202f "):
		if text[last] == '.' {
			e.pointOpen = append(e.pointOpen, number)
		} else {
			e.commaOpen = append(e.commaOpen, number)
		}
	case text[last] == '.':
		e.point = append(e.point, number)
	default:
		e.comma = append(e.comma, number)
	}
}

// marks settles decimal and group mark by the number columns.
func (m *maker) marks() {
	e := evidence{groups: map[string][]string{}}
	for _, c := range m.columns {
		if c.kind != kindNumber {
			continue
		}
		for _, v := range c.values {
			if isNumber(v.text) {
				_, number, _ := bare(v.text)
				e.see(number)
			}
		}
	}
	m.decimal(&e)
	m.group(&e)
}

func (m *maker) decimal(e *evidence) {
	p := &m.Profile
	point := len(e.point) > 0 || len(e.groups[","]) > 0
	comma := len(e.comma) > 0 || len(e.groups["."]) > 0
	shown := append(append(append(e.point, e.comma...), e.groups[","]...), e.groups["."]...)
	switch {
	case point && !comma:
		p.DecimalMark = "."
		m.decide("decimal_mark", "shown by %s", some(shown))
	case comma && !point:
		p.DecimalMark = ","
		m.decide("decimal_mark", "shown by %s", some(shown))
	case point && comma:
		p.DecimalMark = open
		m.ask("decimal_mark", "numbers disagree: %s against %s", some(append(e.point, e.groups[","]...)), some(append(e.comma, e.groups["."]...)))
	case len(e.pointOpen)+len(e.commaOpen) > 0:
		p.DecimalMark = open
		m.ask("decimal_mark", `%s can have a decimal mark or one between thousands: write "." or ","`, some(append(e.pointOpen, e.commaOpen...)))
	default:
		p.DecimalMark = open
		m.ask("decimal_mark", `no number has a mark: write "." or ","`)
	}
}

func (m *maker) group(e *evidence) {
	p := &m.Profile
	if p.DecimalMark == open {
		return
	}
	if p.DecimalMark == "." && len(e.commaOpen) > 0 {
		e.groups[","] = append(e.groups[","], e.commaOpen...)
	}
	if p.DecimalMark == "," && len(e.pointOpen) > 0 {
		e.groups["."] = append(e.groups["."], e.pointOpen...)
	}
	var used []string
	for _, g := range append([]string{",", "."}, groupMarks...) {
		if len(e.groups[g]) > 0 {
			used = append(used, g)
		}
	}
	switch {
	case len(used) == 1:
		p.GroupMark = used[0]
		m.decide("group_mark", "shown by %s", some(e.groups[used[0]]))
	case len(used) > 1:
		p.GroupMark = open
		m.ask("group_mark", "numbers have several marks between thousands: %s and %s", some(e.groups[used[0]]), some(e.groups[used[1]]))
	}
}

// some names up to three of many texts.
func some(texts []string) string {
	shown, seen := "", map[string]bool{}
	for _, text := range texts {
		if seen[text] {
			continue
		}
		seen[text] = true
		if len(seen) > 3 {
			return shown + " and others"
		}
		if shown != "" {
			shown += ", "
		}
		shown += fmt.Sprintf("%q", text)
	}
	return shown
}
