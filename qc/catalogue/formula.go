package catalogue

import (
	"fmt"
	"slices"
	"strings"
)

// MolarMass gives the molar mass in g/mol of a formula in Hill order, from the IUPAC
// standard atomic weights of 2021.
//
// Errors: the formula has an unknown element, an element twice, a count that is no
// whole number from 2 on, or is not in Hill order.
func MolarMass(formula string) (float64, error) {
	var symbols []string
	sum := int64(0)
	for rest := formula; rest != ""; {
		end := 1
		for end < len(rest) && rest[end] >= 'a' && rest[end] <= 'z' {
			end++
		}
		symbol := rest[:end]
		weight, known := weights[symbol]
		if !known {
			return 0, fmt.Errorf("formula %q: %q is no element with a standard atomic weight", formula, symbol)
		}
		if slices.Contains(symbols, symbol) {
			return 0, fmt.Errorf("formula %q: %s is there twice", formula, symbol)
		}
		symbols = append(symbols, symbol)
		rest = rest[end:]
		count, digits := int64(1), 0
		for digits < len(rest) && rest[digits] >= '0' && rest[digits] <= '9' {
			digits++
		}
		if digits > 0 {
			count = 0
			for _, d := range rest[:digits] {
				count = count*10 + int64(d-'0')
			}
			if count < 2 || rest[0] == '0' || digits > 4 {
				return 0, fmt.Errorf("formula %q: count %q of %s is no whole number from 2 to 9999", formula, rest[:digits], symbol)
			}
			rest = rest[digits:]
		}
		sum += count * weight
	}
	if len(symbols) == 0 {
		return 0, fmt.Errorf("the formula is empty")
	}
	if hill := inHillOrder(symbols); !slices.Equal(hill, symbols) {
		return 0, fmt.Errorf("formula %q is not in Hill order: %s", formula, strings.Join(hill, ", "))
	}
	return float64(sum) / 10000, nil
}

// inHillOrder gives carbon, hydrogen and then the rest by alphabet; without carbon all
// by alphabet. Deuterium follows hydrogen's place.
func inHillOrder(symbols []string) []string {
	carbon := slices.Contains(symbols, "C")
	rank := func(symbol string) string {
		switch {
		case symbol == "D" && carbon:
			return "1D"
		case symbol == "D":
			return "H\x00"
		case carbon && symbol == "C":
			return "0"
		case carbon && symbol == "H":
			return "1"
		}
		return symbol
	}
	return slices.SortedFunc(slices.Values(symbols), func(a, b string) int { return strings.Compare(rank(a), rank(b)) })
}
