package jcampdx

import (
	"bytes"
	"fmt"
	"math"
	"slices"
)

// Classes of the bytes that can start something in a line of ordinates.
const (
	classBad     = iota
	classSpace   // separates
	classComma   // separates, once
	classNumber  // digit, sign or decimal point: a plain number
	classSQZ     // pseudo-digit: sign and first digit of an ordinate
	classDIF     // pseudo-digit of a difference to the ordinate before
	classDUP     // pseudo-digit of a repeat count
	classMissing // "?"
)

// class and leading give for every byte its class and, for a pseudo-digit, the
// signed leading digit (standard 4.24, section on compressed forms).
var class, leading = pseudoDigits()

func pseudoDigits() (class [256]uint8, leading [256]int8) {
	for c := '0'; c <= '9'; c++ {
		class[c] = classNumber
	}
	class['+'], class['-'], class['.'] = classNumber, classNumber, classNumber
	class[' '], class['\t'], class['\v'], class['\f'] = classSpace, classSpace, classSpace, classSpace
	class[','] = classComma
	class['?'] = classMissing
	class['@'], class['%'] = classSQZ, classDIF
	for d := int8(1); d <= 9; d++ {
		for _, p := range []struct {
			c       byte
			kind    uint8
			leading int8
		}{
			{'A' - 1, classSQZ, d}, {'a' - 1, classSQZ, -d},
			{'J' - 1, classDIF, d}, {'j' - 1, classDIF, -d},
		} {
			c := p.c + byte(d)
			class[c], leading[c] = p.kind, p.leading
		}
	}
	for d, c := range []byte("STUVWXYZs") {
		class[c], leading[c] = classDUP, int8(d+1)
	}
	return class, leading
}

// form is how an ordinate was written, which decides what a repeat count repeats
// and whether the next line starts with a check ordinate.
type form uint8

const (
	formNone form = iota
	formAbsolute
	formDifference
)

// ordinates decodes the ordinates of a table (X++(Y..Y)) line by line: plain
// numbers (AFFN and packed), SQZ, DIF and DUP forms in any mixture.
type ordinates struct {
	y       []float64 // as written, before the factor; NaN is missing
	decimal byte
	limit   int // most ordinates that the table may have

	last form // form of the last ordinate

	// A check ordinate that does not agree, for the caller to judge: only on the
	// closing line can it be let pass.
	failed   bool
	expected float64
	found    float64
}

// lineError is what is wrong in a line: where (from 0) and what.
type lineError struct {
	at   int
	code string
	text string
}

func wrongAt(at int, code, format string, args ...any) *lineError {
	return &lineError{at: at, code: code, text: fmt.Sprintf(format, args...)}
}

// line decodes the ordinates from b[i] on. checked reports that the first one was
// the check ordinate of the line before.
func (o *ordinates) line(b []byte, i int) (checked bool, wrong *lineError) {
	expectCheck := o.last == formDifference
	first := true            // no ordinate of this line seen yet
	comma := false           // the last thing seen is a comma
	single := false          // the last thing seen is an ordinate, which can be repeated
	y := room(o.y, len(b)-i) // a byte gives one ordinate at most, repeats apart
	form, diff := formNone, 0.0
	for i < len(b) {
		c := b[i]
		kind := class[c]
		if c == ',' && o.decimal == ',' {
			kind = classNumber
		}
		var v float64
		at := i
		switch kind {
		case classSpace:
			i++
			continue
		case classComma:
			if comma {
				return checked, wrongAt(i, "jcampdx-ordinate", "a value is missing between two commas")
			}
			comma = true
			i++
			continue
		case classDIF:
			step := float64(leading[c])
			if i++; i < len(b) && b[i]-'0' <= 9 {
				var ok bool
				if step, i, ok = pseudoNumber(b, at); !ok {
					return checked, wrongAt(at, "jcampdx-ordinate", "the difference %q has too many digits", b[at:i])
				}
			}
			if i < len(b) && b[i] == o.decimal {
				return checked, wrongAt(at, "jcampdx-ordinate", "%q is not a whole difference", excerpt(b, at))
			}
			if form == formNone || len(y) == 0 {
				return checked, wrongAt(at, "jcampdx-ordinate", "the line starts with a difference")
			}
			v = y[len(y)-1] + step
			if !(math.Abs(v) <= exactInteger) {
				return checked, wrongAt(at, "jcampdx-ordinate", "a difference follows a missing or too large ordinate")
			}
			form, diff = formDifference, step
			comma, single = false, true
			if len(y) >= o.limit {
				return checked, o.tooMany(at)
			}
			y = append(y, v)
			continue
		case classDUP:
			if !single {
				return checked, wrongAt(at, "jcampdx-ordinate", "no ordinate stands before the repeat count")
			}
			count, next, ok := pseudoNumber(b, i)
			if next < len(b) && b[next] == o.decimal {
				return checked, wrongAt(at, "jcampdx-ordinate", "%q is not a whole repeat count", excerpt(b, at))
			}
			if !ok || count-1 > float64(o.limit-len(y)) {
				return checked, o.tooMany(at)
			}
			i = next
			comma, single = false, false
			if form == formAbsolute {
				diff = 0
			}
			y = repeated(y, int(count)-1, diff)
			if form == formDifference && !(math.Abs(y[len(y)-1]) <= exactInteger) {
				return checked, wrongAt(at, "jcampdx-ordinate", "repeated differences lead to a too large ordinate")
			}
			continue
		case classSQZ:
			var ok bool
			v, i, ok = pseudoNumber(b, i)
			if !ok {
				return checked, wrongAt(at, "jcampdx-ordinate", "the ordinate %q has too many digits", b[at:i])
			}
		case classNumber:
			var problem string
			v, i, problem = scanNumber(b, i, o.decimal, exponentAFFN)
			if problem != "" {
				return checked, wrongAt(at, "jcampdx-ordinate", "%q %s", excerpt(b, at), problem)
			}
			if i < len(b) && b[i]|0x20 == 'e' && bytes.IndexByte(b[at:i], o.decimal) >= 0 {
				return checked, wrongAt(at, "jcampdx-ordinate", "%q may be an exponent or a pseudo-digit", excerpt(b, at))
			}
		case classMissing:
			i++
			v = math.NaN()
		default:
			return checked, wrongAt(at, "jcampdx-ordinate", "%q cannot stand in a line of ordinates", excerpt(b, at))
		}
		if i < len(b) && b[i] == o.decimal {
			return checked, wrongAt(at, "jcampdx-ordinate", "%q is not one number", excerpt(b, at))
		}
		comma, single = false, true
		form = formAbsolute
		if first {
			first = false
			if expectCheck {
				checked = true
				if want := y[len(y)-1]; v != want {
					o.failed, o.expected, o.found = true, want, v
				}
				continue
			}
		}
		if len(y) >= o.limit {
			return checked, o.tooMany(at)
		}
		y = append(y, v)
	}
	if form == formNone {
		return checked, wrongAt(i, "jcampdx-ordinate", "the line has an abscissa and no ordinate")
	}
	o.y, o.last = y, form
	return checked, nil
}

// repeated appends more values, each the one before plus step.
func repeated(y []float64, more int, step float64) []float64 {
	y = room(y, more)
	v := y[len(y)-1]
	for range more {
		v += step
		y = append(y, v)
	}
	return y
}

// room makes place for n more values. It doubles, where append grows large slices by
// a quarter and copies four times as much.
func room(y []float64, n int) []float64 {
	if cap(y)-len(y) < n {
		y = slices.Grow(y, max(n, len(y)))
	}
	return y
}

func (o *ordinates) tooMany(at int) *lineError {
	return wrongAt(at, "jcampdx-limit-points", "the table has more than %d ordinates", o.limit)
}

// pseudoNumber reads a pseudo-digit at b[i] and the plain digits after it. ok is
// false when the number has more digits than can be held exactly.
func pseudoNumber(b []byte, i int) (v float64, next int, ok bool) {
	start := i
	n := int64(leading[b[i]])
	negative := n < 0
	if negative {
		n = -n
	}
	for i++; i < len(b) && b[i]-'0' <= 9; i++ {
		n = n*10 + int64(b[i]-'0')
	}
	// Fifteen digits stay below exactInteger; with more the sum may have overflowed.
	if i-start > 15 {
		return 0, i, false
	}
	if negative {
		n = -n
	}
	return float64(n), i, true
}

// excerpt shows the text around a fault, shortened.
func excerpt(b []byte, at int) []byte {
	end := at
	for end < len(b) && end-at < 24 && !isSpace(b[end]) {
		end++
	}
	return b[at:max(end, min(at+1, len(b)))]
}
