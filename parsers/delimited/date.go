package delimited

import (
	"fmt"
	"strings"
	"time"

	"underbond/parsers"
)

// dateTokens translate a profile's date format to a layout of package time; longer
// tokens first.
var dateTokens = []struct{ token, layout string }{
	{"YYYY", "2006"}, {"MMM", "Jan"}, {"MM", "01"}, {"M", "1"}, {"DD", "02"}, {"D", "2"},
	{"HH", "15"}, {"hh", "03"}, {"h", "3"}, {"mm", "04"}, {"ss", "05"}, {"A", "PM"}, {"Z", "Z07:00"},
}

const dateHint = `combine YYYY, MM or M or MMM (Jan), DD or D, HH or hh with A (AM, PM), mm, ss, Z (offset) and punctuation: "YYYY-MM-DD HH:mm:ss"`

// dateLayout translates a date format. Fractions of a second need no token. Letters
// outside the tokens are refused, but for the T between date and time.
func dateLayout(format string) (string, error) {
	var layout strings.Builder
	has := map[string]bool{}
	for rest := format; rest != ""; {
		found := false
		for _, t := range dateTokens {
			if strings.HasPrefix(rest, t.token) {
				if has[t.token[:1]] {
					return "", fmt.Errorf("%q has the part %s twice", format, t.token)
				}
				has[t.token[:1]] = true
				layout.WriteString(t.layout)
				rest, found = rest[len(t.token):], true
				break
			}
		}
		if found {
			continue
		}
		c := rest[0]
		if c != 'T' && !strings.ContainsRune(" -/.:,", rune(c)) {
			return "", fmt.Errorf("%q has %q, which is neither a part of a date nor punctuation", format, c)
		}
		layout.WriteByte(c)
		rest = rest[1:]
	}
	for _, part := range []string{"Y", "M", "D"} {
		if !has[part] {
			return "", fmt.Errorf("%q has no %s: a date needs year, month and day", format, part)
		}
	}
	if has["h"] != has["A"] {
		return "", fmt.Errorf("%q: an hour of twelve and AM or PM go together", format)
	}
	if !has["H"] && !has["h"] {
		return "", fmt.Errorf("%q has no hour; a date alone does not say when the recording started", format)
	}
	return layout.String(), nil
}

// startOf reads text by layout; a text that does not fit keeps Local empty.
func startOf(text, layout string) parsers.Start {
	s := parsers.Start{Text: text}
	t, err := time.Parse(layout, strings.TrimSpace(text))
	if err != nil {
		return s
	}
	s.Local = t.Format(parsers.LocalLayout)
	if strings.Contains(layout, "Z07:00") {
		s.Offset = t.Format("Z07:00")
	}
	return s
}
