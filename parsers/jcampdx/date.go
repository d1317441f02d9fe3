package jcampdx

import (
	"cmp"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"underbond/parsers"
)

// Shapes of the date and time labels. LONG DATE is YYYY/MM/DD HH:MM:SS[.ssss] [±hhmm]
// (5.01), DATE is YY/MM/DD (4.24); exports also write the other orders, month names
// and the date and time of a C library.
var (
	yearFirst = regexp.MustCompile(`^(\d{4})[-/.] ?(\d{1,2})[-/.] ?(\d{1,2})(?:[T ]+(.*))?$`)
	yearLast  = regexp.MustCompile(`^(\d{1,2})([-/.]) ?(\d{1,2})[-/.] ?(\d{4})(?:[T ]+(.*))?$`)
	twoDigits = regexp.MustCompile(`^(\d{1,2})[-/.] ?(\d{1,2})[-/.] ?(\d{1,2})(?: +(.*))?$`)
	compact   = regexp.MustCompile(`^(\d{4})(\d{2})(\d{2})(?:[T ]?(\d{2})(\d{2})(\d{2})?(.*))?$`)
	dayMonth  = regexp.MustCompile(`^(\d{1,2})\.?[-/ ]+([A-Za-z]{3,9})\.?[-/ ,]+(\d{4}|\d{2})(?:[T: ]+(.*))?$`)
	monthDay  = regexp.MustCompile(`^([A-Za-z]{3,9})\.? +(\d{1,2}), *(\d{4})(?:,? +(.*))?$`)
	yearMonth = regexp.MustCompile(`^(\d{4})[- ]([A-Za-z]{3,9})[- ](\d{1,2})(?: +(.*))?$`)
	weekday   = regexp.MustCompile(`^(?i:(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)[a-z]*),? +`)
	unixStyle = regexp.MustCompile(`^[A-Za-z]{3} +([A-Za-z]{3}) +(\d{1,2}) +(\d{1,2}:\d{2}:\d{2})(?: +([A-Za-z]{2,5}))? +(\d{4})$`)
	clockTime = regexp.MustCompile(`^(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9})\d*)?)? *([AaPp][Mm])?(?: *(Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?))?$`)
)

// civil is a calendar date.
type civil struct{ year, month, day int }

func (c civil) valid() bool {
	t := time.Date(c.year, time.Month(c.month), c.day, 0, 0, 0, 0, time.UTC)
	return t.Year() == c.year && int(t.Month()) == c.month && t.Day() == c.day && c.year >= 1
}

// readStart reads when a recording started from the values of LONG DATE, DATE and
// TIME. Text that can be read in more than one way, or has no time of day, keeps
// Local empty; why says so.
func readStart(long, date, clock string) (start parsers.Start, why string) {
	text := strings.TrimSpace(long)
	if text == "" {
		text = strings.TrimSpace(date)
	}
	clock = strings.TrimSpace(clock)
	start.Text = text
	if clock != "" && clock != text {
		start.Text = strings.TrimSpace(text + " " + clock)
	}
	if start.Text == "" {
		return start, ""
	}
	day, rest, why := readDate(text)
	if why != "" {
		return start, why
	}
	if rest == "" {
		rest = clock
	}
	if rest == "" {
		return start, "the date has no time of day"
	}
	local, offset, ok := readClock(rest)
	if !ok {
		return start, fmt.Sprintf("the time of day %q cannot be read", clip(rest))
	}
	start.Local = fmt.Sprintf("%04d-%02d-%02dT%s", day.year, day.month, day.day, local)
	start.Offset = offset
	return start, ""
}

// readDate reads the date at the start of text and gives what follows it.
func readDate(text string) (day civil, rest, why string) {
	number := func(s string) int { n, _ := strconv.Atoi(s); return n }
	if m := yearFirst.FindStringSubmatch(text); m != nil {
		return oneOf(text, m[4], civil{number(m[1]), number(m[2]), number(m[3])})
	}
	if m := yearLast.FindStringSubmatch(text); m != nil {
		a, b, year := number(m[1]), number(m[3]), number(m[4])
		if m[2] == "." {
			return oneOf(text, m[5], civil{year, b, a})
		}
		return oneOf(text, m[5], civil{year, b, a}, civil{year, a, b})
	}
	if m := twoDigits.FindStringSubmatch(text); m != nil {
		a, b, c := number(m[1]), number(m[2]), number(m[3])
		return oneOf(text, m[4], civil{century(a), b, c}, civil{century(c), a, b}, civil{century(c), b, a})
	}
	if m := compact.FindStringSubmatch(text); m != nil {
		clock := ""
		if m[4] != "" {
			clock = m[4] + ":" + m[5] + ":" + cmp.Or(m[6], "00") + m[7]
		}
		return oneOf(text, clock, civil{number(m[1]), number(m[2]), number(m[3])})
	}
	named := weekday.ReplaceAllString(text, "")
	if m := dayMonth.FindStringSubmatch(named); m != nil {
		day, month, year := number(m[1]), monthNamed(m[2]), number(m[3])
		if len(m[3]) == 4 {
			return oneOf(text, m[4], civil{year, month, day})
		}
		return oneOf(text, m[4], civil{century(year), month, day}, civil{century(day), month, year})
	}
	if m := monthDay.FindStringSubmatch(named); m != nil {
		return oneOf(text, m[4], civil{number(m[3]), monthNamed(m[1]), number(m[2])})
	}
	if m := yearMonth.FindStringSubmatch(named); m != nil {
		return oneOf(text, m[4], civil{number(m[1]), monthNamed(m[2]), number(m[3])})
	}
	if m := unixStyle.FindStringSubmatch(text); m != nil {
		clock := m[3]
		switch zone := strings.ToUpper(m[4]); zone {
		case "":
		case "UTC", "GMT":
			clock += "Z"
		default:
			return day, "", fmt.Sprintf("the zone abbreviation %s does not name one offset", zone)
		}
		return oneOf(text, clock, civil{number(m[5]), monthNamed(m[1]), number(m[2])})
	}
	return day, "", fmt.Sprintf("%q cannot be read as a date", clip(text))
}

// oneOf gives the only valid date among the readings.
func oneOf(text, rest string, readings ...civil) (civil, string, string) {
	var found []civil
	for _, c := range readings {
		if c.valid() && (len(found) == 0 || found[0] != c) {
			found = append(found, c)
		}
	}
	switch len(found) {
	case 1:
		return found[0], strings.TrimSpace(rest), ""
	case 0:
		return civil{}, "", fmt.Sprintf("%q is not a date", clip(text))
	}
	return civil{}, "", fmt.Sprintf("%q can be read as more than one date", clip(text))
}

// century completes a two-digit year. The format is of 1988 and digitised charts are
// older: 50 to 99 are of the 1900s.
func century(year int) int {
	if year >= 50 {
		return 1900 + year
	}
	return 2000 + year
}

func monthNamed(name string) int {
	for m := time.January; m <= time.December; m++ {
		if full := m.String(); strings.EqualFold(name, full) || strings.EqualFold(name, full[:3]) {
			return int(m)
		}
	}
	return 0
}

// readClock reads a time of day with an optional offset from UTC.
func readClock(text string) (local, offset string, ok bool) {
	m := clockTime.FindStringSubmatch(text)
	if m == nil {
		return "", "", false
	}
	hour, _ := strconv.Atoi(m[1])
	minute, _ := strconv.Atoi(m[2])
	second, _ := strconv.Atoi("0" + m[3])
	if m[5] != "" {
		if hour < 1 || hour > 12 {
			return "", "", false
		}
		hour %= 12
		if strings.EqualFold(m[5], "PM") {
			hour += 12
		}
	}
	if hour > 23 || minute > 59 || second > 59 {
		return "", "", false
	}
	local = fmt.Sprintf("%02d:%02d:%02d", hour, minute, second)
	if fraction := strings.TrimRight(m[4], "0"); fraction != "" {
		local += "." + fraction
	}
	switch zone := m[6]; zone {
	case "":
	case "Z", "UTC", "GMT":
		offset = "Z"
	default:
		hours, minutes := zone[1:3], "00"
		if len(zone) > 3 {
			minutes = zone[len(zone)-2:]
		}
		if hours > "14" || minutes > "59" {
			return "", "", false
		}
		offset = zone[:1] + hours + ":" + minutes
	}
	return local, offset, true
}
