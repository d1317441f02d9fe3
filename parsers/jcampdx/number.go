package jcampdx

import (
	"bytes"
	"math"
	"strconv"
)

// exactTen are the powers of ten that a float64 holds exactly.
var exactTen = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// exactInteger is the largest magnitude up to which every integer is a float64.
const exactInteger = 1 << 53

// exponentRule says when an E after digits is an exponent.
type exponentRule int

const (
	// exponentAFFN: E, a sign and two or three digits (the standard's rule). Needed
	// where E may also be a pseudo-digit.
	exponentAFFN exponentRule = iota
	// exponentAny: E, perhaps a sign, and one to five digits.
	exponentAny
)

// scanNumber reads the number that starts at b[i], correctly rounded. decimal is
// the decimal mark. It returns the index after the number and what is wrong, if
// anything is.
func scanNumber(b []byte, i int, decimal byte, rule exponentRule) (v float64, next int, wrong string) {
	start := i
	negative := false
	if i < len(b) && (b[i] == '+' || b[i] == '-') {
		negative = b[i] == '-'
		i++
	}
	if v, next, ok := scanShort(b, i, decimal); ok {
		if negative {
			v = -v
		}
		return v, next, ""
	}
	var mantissa uint64
	digits, significant, scale := 0, 0, 0
	for point := false; i < len(b); i++ {
		c := b[i]
		if d := c - '0'; d <= 9 {
			digits++
			if significant > 0 || d != 0 {
				significant++
			}
			if significant <= 19 {
				mantissa = mantissa*10 + uint64(d)
			}
			if point {
				scale--
			}
			continue
		}
		if c != decimal || point {
			break
		}
		point = true
	}
	if digits == 0 {
		return 0, start, "is not a number"
	}
	if i < len(b) && b[i]|0x20 == 'e' {
		exponent, after, verdict := scanExponent(b, i, rule)
		if verdict != "" {
			return 0, start, verdict
		}
		scale += exponent
		i = after
	}
	if significant <= 15 && scale >= -22 && scale <= 22 {
		v = float64(mantissa)
		if scale < 0 {
			v /= exactTen[-scale]
		} else {
			v *= exactTen[scale]
		}
	} else {
		text := b[start:i]
		if decimal != '.' {
			text = bytes.ReplaceAll(text, []byte{decimal}, []byte{'.'})
		}
		var err error
		v, err = strconv.ParseFloat(string(text), 64)
		if err != nil {
			return 0, start, "is outside the range of numbers"
		}
		return v, i, ""
	}
	if negative {
		v = -v
	}
	return v, i, ""
}

// scanShort reads what most numbers are: up to fifteen digits, perhaps with a decimal
// mark, and no exponent.
func scanShort(b []byte, i int, decimal byte) (v float64, next int, ok bool) {
	var mantissa uint64
	start := i
	for i < len(b) && b[i]-'0' <= 9 {
		mantissa = mantissa*10 + uint64(b[i]-'0')
		i++
	}
	digits, places := i-start, 0
	if i < len(b) && b[i] == decimal {
		i++
		mark := i
		for i < len(b) && b[i]-'0' <= 9 {
			mantissa = mantissa*10 + uint64(b[i]-'0')
			i++
		}
		places = i - mark
		digits += places
	}
	if digits == 0 || digits > 15 || i < len(b) && b[i]|0x20 == 'e' {
		return 0, i, false
	}
	// Both are exact, so that the quotient is rounded once.
	return float64(mantissa) / exactTen[places], i, true
}

// scanExponent reads the exponent at b[i], an E. A zero result with after == i means
// that the E does not belong to the number.
func scanExponent(b []byte, i int, rule exponentRule) (exponent, after int, wrong string) {
	j := i + 1
	signed, negative := false, false
	if j < len(b) && (b[j] == '+' || b[j] == '-') {
		signed, negative = true, b[j] == '-'
		j++
	}
	first := j
	for j < len(b) && b[j]-'0' <= 9 {
		if j-first < 5 {
			exponent = exponent*10 + int(b[j]-'0')
		}
		j++
	}
	count := j - first
	if negative {
		exponent = -exponent
	}
	switch {
	case rule == exponentAny && count >= 1 && count <= 5:
		return exponent, j, ""
	case rule == exponentAny:
		return 0, i, "has an exponent without one to five digits"
	case !signed:
		return 0, i, ""
	case count == 2 || count == 3:
		return exponent, j, ""
	}
	return 0, i, "has an E with a sign that is neither an exponent of two or three digits nor a pseudo-digit"
}

// headerNumber reads the whole of a header value as one number. comma reports that
// its decimal mark is a comma.
func headerNumber(text string) (v float64, comma, ok bool) {
	b := bytes.TrimSpace([]byte(text))
	decimal := byte('.')
	if bytes.IndexByte(b, ',') >= 0 {
		decimal, comma = ',', true
	}
	v, next, wrong := scanNumber(b, 0, decimal, exponentAny)
	if wrong != "" || next != len(b) || math.IsInf(v, 0) {
		return 0, false, false
	}
	return v, comma, true
}

// lastUnit is one unit of the last digit written in a number: how far rounding or
// cutting off can take the text from the value that it stands for.
func lastUnit(text string) float64 {
	b := bytes.ToLower(bytes.TrimSpace([]byte(text)))
	mantissa, exponent, _ := bytes.Cut(b, []byte("e"))
	scale, err := strconv.Atoi(string(exponent))
	if err != nil {
		scale = 0
	}
	if i := bytes.IndexAny(mantissa, ".,"); i >= 0 {
		scale -= len(mantissa) - i - 1
	}
	return math.Pow(10, float64(scale))
}
