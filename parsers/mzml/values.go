package mzml

import (
	"bytes"
	"math"
	"strconv"
	"time"

	"underbond/parsers"
)

// parseDouble reads an xs:double.
func parseDouble(b []byte) (float64, bool) {
	b = trimSpace(b)
	switch string(b) {
	case "INF", "+INF":
		return math.Inf(1), true
	case "-INF":
		return math.Inf(-1), true
	case "NaN":
		return math.NaN(), true
	case "":
		return 0, false
	}
	for _, c := range b {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}

// parseCount reads a number that is not negative and fits an int.
func parseCount(b []byte) (int, bool) {
	b = trimSpace(b)
	if len(b) == 0 || len(b) > 18 {
		return 0, false
	}
	n := 0
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}

// startOf reads an xs:dateTime. ok is false when text is no date and time; a date
// alone, or one without a time of day, is none.
func startOf(text []byte) (s parsers.Start, ok bool) {
	s.Text = string(text)
	b := trimSpace(text)
	local, offset := b, ""
	if n := len(b); n > 0 && b[n-1] == 'Z' {
		local, offset = b[:n-1], "Z"
	} else if n > 19 && (b[n-6] == '+' || b[n-6] == '-') && b[n-3] == ':' {
		hours, h := parseCount(b[n-5 : n-3])
		minutes, m := parseCount(b[n-2:])
		if !h || !m || hours > 14 || minutes > 59 || hours == 14 && minutes > 0 {
			return s, false
		}
		local, offset = b[:n-6], string(b[n-6:])
	}
	if len(local) > 29 && local[19] == '.' {
		for _, c := range local[20:] {
			if c < '0' || c > '9' {
				return s, false
			}
		}
		local = local[:29] // nanoseconds
	}
	midnight := bytes.HasPrefix(local[min(len(local), 10):], []byte("T24:00:00"))
	if midnight {
		if len(bytes.Trim(local[19:], ".0")) > 0 {
			return s, false
		}
		local = append(append([]byte(nil), local[:11]...), "00:00:00"...)
	}
	if len(local) < 19 || local[19:] != nil && len(local) > 19 && (local[19] != '.' || len(local) == 20) {
		return s, false
	}
	at, err := time.Parse(parsers.LocalLayout, string(local))
	if err != nil || at.Year() == 0 {
		return s, false
	}
	if midnight {
		at = at.AddDate(0, 0, 1)
	}
	s.Local, s.Offset = at.Format(parsers.LocalLayout), offset
	return s, true
}
