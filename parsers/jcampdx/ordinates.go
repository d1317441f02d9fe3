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
// signed leading digit (standard 4.24, section on compressed forms). classComma is class
// where the comma is the decimal mark.
var class, commaClass, leading = pseudoDigits()

func pseudoDigits() (class, commaClass [256]uint8, leading [256]int8) {
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
	commaClass = class
	commaClass[','] = classNumber
	return class, commaClass, leading
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
	// expected gives how many more ordinates may follow, judged by the bytes that are
	// left; 0 is unknown.
	expected func() int

	last   form // form of the last ordinate
	pseudo bool // the line has pseudo-digits

	// A check ordinate that does not agree, for the caller to judge: only on the
	// closing line can it be let pass.
	failed bool
	want   float64
	found  float64
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
	classes := &class
	if o.decimal == ',' {
		classes = &commaClass
	}
	expectCheck := o.last == formDifference
	first := true   // no ordinate of this line seen yet
	comma := false  // the last thing seen is a comma
	single := false // the last thing seen is an ordinate, which can be repeated
	pseudo := false
	o.room(len(b) - i) // a byte gives one ordinate at most, repeats apart
	y := o.y
	form, diff, before := formNone, 0.0, 0.0
	if len(y) > 0 {
		before = y[len(y)-1]
	}
	for i < len(b) {
		c := b[i]
		var v float64
		at := i
		switch classes[c] {
		case classDIF:
			n := int64(leading[c])
			if i++; i < len(b) && b[i]-'0' <= 9 {
				var ok bool
				if n, i, ok = digits(b, i, n); !ok {
					return checked, wrongAt(at, "jcampdx-ordinate", "the difference %q has too many digits", b[at:i])
				}
			}
			if form == formNone {
				return checked, wrongAt(at, "jcampdx-ordinate", "the line starts with a difference")
			}
			diff = float64(n)
			before += diff
			if !(before <= exactInteger && before >= -exactInteger) {
				return checked, wrongAt(at, "jcampdx-ordinate", "a difference follows a missing or too large ordinate")
			}
			form = formDifference
			comma, single, pseudo = false, true, true
			if len(y) >= o.limit {
				return checked, o.tooMany(at)
			}
			y = append(y, before)
			continue
		case classDUP:
			if !single {
				return checked, wrongAt(at, "jcampdx-ordinate", "no ordinate stands before the repeat count")
			}
			count, next, ok := digits(b, i+1, int64(leading[c]))
			if !ok || count-1 > int64(o.limit-len(y)) {
				return checked, o.tooMany(at)
			}
			i = next
			comma, single, pseudo = false, false, true
			if form == formAbsolute {
				diff = 0
			}
			if more := int(count) - 1; more > cap(y)-len(y)-(len(b)-i) {
				o.y = y
				o.room(more + len(b) - i)
				y = o.y
			}
			for range count - 1 {
				before += diff
				y = append(y, before)
			}
			if form == formDifference && !(math.Abs(before) <= exactInteger) {
				return checked, wrongAt(at, "jcampdx-ordinate", "repeated differences lead to a too large ordinate")
			}
			continue
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
		case classSQZ:
			n, next, ok := digits(b, i+1, int64(leading[c]))
			if i = next; !ok {
				return checked, wrongAt(at, "jcampdx-ordinate", "the ordinate %q has too many digits", b[at:i])
			}
			v = float64(n)
			pseudo = true
		case classNumber:
			// Pseudo-digits have no fraction, and no number has two.
			if c == o.decimal && i > 0 && joined(classes[b[i-1]]) {
				return checked, wrongAt(at, "jcampdx-ordinate", "%q is not one number", excerpt(b, at-1))
			}
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
		comma, single = false, true
		form = formAbsolute
		if first {
			first = false
			if expectCheck {
				checked = true
				if v != before {
					o.failed, o.want, o.found = true, before, v
				}
				continue
			}
		}
		if len(y) >= o.limit {
			return checked, o.tooMany(at)
		}
		before = v
		y = append(y, v)
	}
	if form == formNone {
		return checked, wrongAt(i, "jcampdx-ordinate", "the line has an abscissa and no ordinate")
	}
	o.y, o.last, o.pseudo = y, form, pseudo
	return checked, nil
}

// joined reports that a decimal mark right after a byte of the class belongs to the same number.
func joined(class uint8) bool {
	return class != classSpace && class != classComma && class != classBad
}

// room makes place for n more values. It doubles, where append grows large slices by
// a quarter and copies four times as much; where the bytes that are left say what may come,
// it takes that, within an eighth and seven times what is there.
func (o *ordinates) room(n int) {
	if cap(o.y)-len(o.y) >= n {
		return
	}
	more := len(o.y)
	if o.expected != nil {
		if left := o.expected(); left > 0 {
			more = min(max(left, more/8), 7*more)
		}
	}
	o.y = slices.Grow(o.y, max(n, more))
}

func (o *ordinates) tooMany(at int) *lineError {
	return wrongAt(at, "jcampdx-limit-points", "the table has more than %d ordinates", o.limit)
}

// digits reads the plain digits at b[i] that follow the signed leading digit n. ok is
// false when the number has more digits than can be held exactly.
func digits(b []byte, i int, n int64) (v int64, next int, ok bool) {
	start := i
	for i < len(b) {
		d := int64(b[i]) - '0'
		if uint64(d) > 9 {
			break
		}
		if n < 0 {
			d = -d
		}
		n = n*10 + d
		i++
	}
	// Fifteen digits stay below exactInteger; with more the sum may have overflowed.
	return n, i, i-start <= 14
}

// excerpt shows the text around a fault, shortened.
func excerpt(b []byte, at int) []byte {
	end := at
	for end < len(b) && end-at < 24 && !isSpace(b[end]) {
		end++
	}
	return b[at:max(end, min(at+1, len(b)))]
}
