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
	{"YYYY", "2006"}, {"YY", "06"}, {"MMMM", "January"}, {"MMM", "Jan"}, {"MM", "01"}, {"M", "1"}, {"DD", "02"}, {"D", "2"},
	{"HH", "15"}, {"hh", "03"}, {"h", "3"}, {"mm", "04"}, {"ss", "05"}, {"A", "PM"},
	{"ZZ", "Z0700"}, {"Z", "Z07:00"},
}

const dateHint = `combine YYYY or YY, MM or M or MMM (Jan) or MMMM (January), DD or D, HH or hh with A (AM, PM), mm, ss, Z (+01:00) or ZZ (+0100) and punctuation: "YYYY-MM-DD HH:mm:ss"`

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

// FitsDate tells whether a text is a date and time in a form of Profile.DateFormat.
func FitsDate(text, format string) bool {
	layout, err := dateLayout(format)
	return err == nil && startOf(text, "", layout).Local != ""
}

// FitsOffset tells whether a text can stand in a column of the meaning MeaningOffset.
func FitsOffset(text string) bool {
	_, ok := offsetOf(text)
	return ok
}

// startOf reads text by layout; a text that does not fit keeps Local empty. offset is
// what the clock is ahead of UTC, as written beside the date; empty when nothing is.
func startOf(text, offset, layout string) parsers.Start {
	s := parsers.Start{Text: text}
	if offset != "" {
		s.Text += " " + offset
	}
	t, err := time.Parse(layout, strings.TrimSpace(text))
	if err != nil {
		return s
	}
	if offset != "" {
		var ok bool
		if s.Offset, ok = offsetOf(offset); !ok {
			return s
		}
	}
	s.Local = localText(t)
	if strings.Contains(layout, "Z07") {
		s.Offset = t.Format("Z07:00")
	}
	return s
}

// localText gives a wall clock as parsers.LocalLayout does, in a fraction of the time.
func localText(t time.Time) string {
	year, month, day := t.Date()
	if year < 1000 || year > 9999 || t.Nanosecond() != 0 {
		return t.Format(parsers.LocalLayout)
	}
	hour, minute, second := t.Clock()
	text := [19]byte{4: '-', 7: '-', 10: 'T', 13: ':', 16: ':'}
	for _, part := range [...]struct{ at, n int }{{0, year / 100}, {2, year % 100}, {5, int(month)}, {8, day}, {11, hour}, {14, minute}, {17, second}} {
		text[part.at], text[part.at+1] = byte('0'+part.n/10), byte('0'+part.n%10)
	}
	return string(text[:])
}

// offsetOf reads an offset from UTC: "+01:00", "+0100", "-5", "UTC+1", "GMT", "Z". It
// gives the form of parsers.Start. Names of zones are not known: several have one name.
func offsetOf(text string) (string, bool) {
	text = strings.ReplaceAll(strings.TrimSpace(text), "\u2212", "-")
	for _, word := range []string{"UTC", "GMT"} {
		if rest, ok := strings.CutPrefix(text, word); ok {
			if text = strings.TrimSpace(rest); text == "" {
				return "Z", true
			}
			break
		}
	}
	if text == "Z" {
		return "Z", true
	}
	if len(text) < 2 || text[0] != '+' && text[0] != '-' {
		return "", false
	}
	hours, minutes, colon := strings.Cut(text[1:], ":")
	if !colon && len(hours) == 4 {
		hours, minutes = hours[:2], hours[2:]
	} else if !colon {
		minutes = "00"
	}
	if len(hours) == 1 {
		hours = "0" + hours
	}
	if len(hours) != 2 || len(minutes) != 2 || strings.Trim(hours+minutes, "0123456789") != "" || hours > "14" || minutes > "59" {
		return "", false
	}
	return text[:1] + hours + ":" + minutes, true
}
