package located

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// Number reads a decimal number: optional sign, digits with at most one point,
// optional exponent. Forms that only programming languages know (1_000, 0x1F, NaN,
// Inf) are refused, and so is a number that a double holds as infinite or, though it
// is not zero, as zero.
func Number(text string) (float64, error) {
	nonzero, err := decimal(text)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case errors.Is(err, strconv.ErrRange) || math.IsInf(v, 0):
		return 0, fmt.Errorf("%q is too large for a double precision number", text)
	case err != nil:
		return 0, notNumber(text)
	case v == 0 && nonzero:
		return 0, fmt.Errorf("%q is not zero and too small for a double precision number", text)
	}
	return v, nil
}

// decimal checks the form of text and tells whether its mantissa has a digit other than 0.
func decimal(text string) (nonzero bool, err error) {
	i, digits, points := 0, 0, 0
	if i < len(text) && (text[i] == '+' || text[i] == '-') {
		i++
	}
	for ; i < len(text) && text[i] != 'e' && text[i] != 'E'; i++ {
		switch c := text[i]; {
		case c >= '0' && c <= '9':
			digits++
			nonzero = nonzero || c != '0'
		case c == '.' && points == 0:
			points++
		default:
			return false, notNumber(text)
		}
	}
	if digits == 0 {
		return false, notNumber(text)
	}
	if i == len(text) {
		return nonzero, nil
	}
	i++
	if i < len(text) && (text[i] == '+' || text[i] == '-') {
		i++
	}
	if i == len(text) {
		return false, notNumber(text)
	}
	for ; i < len(text); i++ {
		if text[i] < '0' || text[i] > '9' {
			return false, notNumber(text)
		}
	}
	return nonzero, nil
}

func notNumber(text string) error {
	return fmt.Errorf("%q is not a decimal number", text)
}
