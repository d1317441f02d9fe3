package located

import (
	"fmt"
	"strings"
)

// Hint proposes the one of allowed that is nearest to text, or lists them all.
func Hint(text string, allowed []string) string {
	best, distance := "", 3
	for _, word := range allowed {
		if d := edits(strings.ToLower(text), strings.ToLower(word)); d < distance {
			best, distance = word, d
		}
	}
	if best != "" && len(text) > distance {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return "allowed: " + strings.Join(allowed, ", ")
}

// edits is the Levenshtein distance between a and b, by characters; it gives up early
// on texts that cannot be near.
func edits(a, b string) int {
	s, t := []rune(a), []rune(b)
	if diff := len(s) - len(t); diff > 2 || diff < -2 || len(s) > 64 {
		return 64
	}
	row := make([]int, len(t)+1)
	for k := range row {
		row[k] = k
	}
	for i := range s {
		diagonal := row[0]
		row[0] = i + 1
		for k := range t {
			cost := 1
			if s[i] == t[k] {
				cost = 0
			}
			next := min(row[k]+1, row[k+1]+1, diagonal+cost)
			diagonal, row[k+1] = row[k+1], next
		}
	}
	return row[len(t)]
}
