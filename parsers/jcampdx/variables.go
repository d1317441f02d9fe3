package jcampdx

import "strings"

// variables is a table's variable list, such as (X++(Y..Y)) or (XYW..XYW).
type variables struct {
	even     bool   // an abscissa and evenly spaced ordinates on each line
	x, y     string // the two symbols when even
	members  string // one letter a member of a group otherwise, such as "XYW"
	repaired bool   // brackets are missing
}

// parseVariables reads a variable list. What follows it (", XYDATA") is left alone.
func parseVariables(text string) (variables, bool) {
	list := strings.ToUpper(strings.Map(func(c rune) rune {
		if c == ' ' || c == '\t' {
			return -1
		}
		return c
	}, text))
	if !strings.HasPrefix(list, "(") {
		return variables{}, false
	}
	list = list[1:]
	if x, rest, ok := strings.Cut(list, "++("); ok {
		first, rest, ok := strings.Cut(rest, "..")
		second, rest, closed := strings.Cut(rest, ")")
		if !ok || !closed || first != second || !isSymbol(x) || !isSymbol(first) {
			return variables{}, false
		}
		return variables{even: true, x: x, y: first, repaired: !strings.HasPrefix(rest, ")")}, true
	}
	body, _, closed := strings.Cut(list, ")")
	if !closed {
		body, _, _ = strings.Cut(list, ",")
	}
	if first, second, ok := strings.Cut(body, ".."); ok {
		if first != second {
			return variables{}, false
		}
		body = first
	}
	if !isSymbol(body) || len(body) < 2 {
		return variables{}, false
	}
	return variables{members: body, repaired: !closed}, true
}

func isSymbol(s string) bool {
	if s == "" || len(s) > 8 {
		return false
	}
	for _, c := range s {
		if !(c >= 'A' && c <= 'Z' || c >= '0' && c <= '9') {
			return false
		}
	}
	return true
}
