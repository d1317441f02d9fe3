package qc

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Errors of Round that a caller may tell apart.
var (
	// ErrNotFinite: NaN or an infinity has no decimal text.
	ErrNotFinite = errors.New("not a finite number")
	// ErrDigits: not exactly one of decimals and significant digits is given, or it is out of range.
	ErrDigits = errors.New("unusable number of digits")
)

const (
	maxDecimals    = 30
	maxSignificant = 17 // what a float64 carries
)

// Round gives value as text, rounded once to nearest with ties to even. What is
// rounded is the exact decimal expansion of the float64, so 2.675 (which lies just
// below) becomes 2.67 with two decimals, while 0.125 is a true tie and becomes 0.12.
//
// Exactly one of decimals (0 to 30) and significant (1 to 17) is set. The text has no
// exponent and keeps the zeros asked for: 12 with one decimal is "12.0". With
// significant digits, the place of the last digit follows from the rounded value
// (9.996 with three is "10.0"), zeros that only hold the place before the decimal
// point are written and not significant (1234 with two is "1200"), and zero, which
// has no leading digit, is "0". A value that rounds to zero has no sign.
func Round(value float64, decimals, significant *int) (string, error) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return "", fmt.Errorf("round %v: %w", value, ErrNotFinite)
	}
	switch {
	case decimals != nil && significant != nil:
		return "", fmt.Errorf("round %v: %w: both decimals and significant digits are given", value, ErrDigits)
	case decimals != nil:
		if *decimals < 0 || *decimals > maxDecimals {
			return "", fmt.Errorf("round %v: %w: %d decimals, allowed are 0 to %d", value, ErrDigits, *decimals, maxDecimals)
		}
		// strconv rounds the exact expansion, ties to even.
		return withoutNegativeZero(strconv.FormatFloat(value, 'f', *decimals, 64)), nil
	case significant != nil:
		if *significant < 1 || *significant > maxSignificant {
			return "", fmt.Errorf("round %v: %w: %d significant digits, allowed are 1 to %d", value, ErrDigits, *significant, maxSignificant)
		}
		if value == 0 {
			return "0", nil
		}
		return plain(strconv.FormatFloat(value, 'e', *significant-1, 64))
	default:
		return "", fmt.Errorf("round %v: %w: neither decimals nor significant digits are given", value, ErrDigits)
	}
}

// withoutNegativeZero drops the sign of a text whose digits are all zero.
func withoutNegativeZero(text string) string {
	if strings.HasPrefix(text, "-") && strings.Trim(text, "-0.") == "" {
		return text[1:]
	}
	return text
}

// plain writes scientific notation d.ddde±xx without its exponent.
func plain(scientific string) (string, error) {
	mantissa, exponent, _ := strings.Cut(scientific, "e")
	power, err := strconv.Atoi(exponent)
	if err != nil {
		return "", fmt.Errorf("read the exponent of %q: %w", scientific, err)
	}
	sign := ""
	if strings.HasPrefix(mantissa, "-") {
		sign, mantissa = "-", mantissa[1:]
	}
	digits := strings.Replace(mantissa, ".", "", 1)
	switch point := power + 1; {
	case point <= 0:
		return sign + "0." + strings.Repeat("0", -point) + digits, nil
	case point >= len(digits):
		return sign + digits + strings.Repeat("0", point-len(digits)), nil
	default:
		return sign + digits[:point] + "." + digits[point:], nil
	}
}
