package propose

import (
	"slices"
	"strings"

	"underbond/parsers/delimited"
)

// words that say the same in every laboratory. Others, such as "n.a." (not analysed? not
// available?), are asked about.
var (
	notFoundWords = []string{"n.d.", "nd", "n/d", "not detected", "not found"}
	notNumbers    = []string{"nan", "#", "##", "###", "####", "#####", "######", "overflow", "error", "#n/a", "#div/0!", "#value!", "inf", "-inf", "saturated"}
	emptyWords    = []string{"-", "--", "---", "–"}
	belowWords    = []string{"<lod", "<loq", "<lloq", "<mdl", "below range", "underrange"}
	aboveWords    = []string{">uloq", ">range", "above range", "overrange", ">max"}
)

// seenWords collects texts with the lines where they were first seen.
type seenWords struct {
	texts []string
	at    map[string]value
}

func (s *seenWords) add(text string, v value) {
	if s.at == nil {
		s.at = map[string]value{}
	}
	if _, seen := s.at[text]; !seen {
		s.at[text] = v
		s.texts = append(s.texts, text)
	}
}

// qualifiers maps the texts in number columns that are no numbers.
func (m *maker) qualifiers() {
	var before, after, whole seenWords
	for i, c := range m.columns {
		if m.Profile.Columns[i].Type != kindNumber {
			continue
		}
		for _, v := range c.odd {
			whole.add(v.text, v)
		}
		for _, v := range c.values {
			if !isNumber(v.text) {
				continue
			}
			b, _, a := bare(v.text)
			if b != "" {
				before.add(b, v)
			}
			if a != "" {
				after.add(a, v)
			}
		}
	}
	q := &m.Profile.Qualifiers
	for _, text := range before.texts {
		switch v := before.at[text]; {
		case strings.ContainsAny(text, "<≤"):
			q.Below = append(q.Below, text)
		case strings.ContainsAny(text, ">≥"):
			q.Above = append(q.Above, text)
		default:
			q.Empty = append(q.Empty, open)
			m.ask("qualifiers", "what does %q in %q say (line %d)? A text before a number goes under below or above", text, v.text, v.line)
		}
	}
	for _, text := range after.texts {
		v := after.at[text]
		q.AfterNumber = append(q.AfterNumber, delimited.Flag{Text: text, Says: open})
		m.ask("qualifiers", "what does %q in %q say (line %d)? value: the number stands; or below, above, not found, not a number", text, v.text, v.line)
	}
	for _, text := range whole.texts {
		m.word(q, text, whole.at[text])
	}
	if len(q.Below)+len(q.Above)+len(q.NotFound)+len(q.NotANumber)+len(q.BelowRange)+len(q.AboveRange) > 0 {
		m.decide("qualifiers", "seen in the number columns")
	}
}

// said is what a word alone says, as the profile's key; "" when that is not known.
func said(text string) string {
	small := strings.ToLower(strings.ReplaceAll(text, " ", ""))
	for key, words := range map[string][]string{
		"not_found": notFoundWords, "not_a_number": notNumbers, "empty": emptyWords, "below_range": belowWords, "above_range": aboveWords,
	} {
		if slices.ContainsFunc(words, func(w string) bool { return strings.ReplaceAll(w, " ", "") == small }) {
			return key
		}
	}
	return ""
}

func (m *maker) word(q *delimited.Qualifiers, text string, v value) {
	switch said(text) {
	case "not_found":
		q.NotFound = append(q.NotFound, text)
	case "not_a_number":
		q.NotANumber = append(q.NotANumber, text)
	case "empty":
		q.Empty = append(q.Empty, text)
	case "below_range":
		q.BelowRange = append(q.BelowRange, text)
	case "above_range":
		q.AboveRange = append(q.AboveRange, text)
	default:
		q.Empty = append(q.Empty, open)
		m.ask("qualifiers", "what does %q say (line %d)? It goes under not_found, not_a_number, below_range, above_range or empty", text, v.line)
	}
}
