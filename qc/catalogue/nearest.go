package catalogue

import (
	"cmp"
	"slices"
	"unicode/utf8"
)

const (
	maxCandidates = 5
	maxCompared   = 96 // characters; the longest listed name has fewer
)

// nearest gives the entries with a name, or a number, near to key.
func (c *Catalogue) nearest(key string, number bool) []Candidate {
	length := utf8.RuneCountInString(key)
	if length < 3 || length > maxCompared {
		return nil
	}
	limit := max(1, min(length/4, 4))
	best := map[string]Candidate{}
	offer := func(name, text string, distance int) {
		if found, ok := best[name]; !ok || distance < found.Distance || distance == found.Distance && text < found.Text {
			best[name] = Candidate{Name: name, Text: text, Distance: distance}
		}
	}
	for other, ref := range c.index {
		if ref.number == number {
			if d := edits(key, other, limit); d <= limit {
				offer(ref.name, ref.text, d)
			}
		}
	}
	for other, a := range c.ambiguous {
		if d := edits(key, other, limit); !number && d <= limit {
			for _, name := range a.Entries {
				offer(name, name, d)
			}
		}
	}
	list := make([]Candidate, 0, len(best))
	for _, one := range best {
		list = append(list, one)
	}
	slices.SortFunc(list, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(a.Distance, b.Distance), cmp.Compare(a.Name, b.Name))
	})
	return list[:min(len(list), maxCandidates)]
}

// edits is the optimal string alignment distance of a and b: characters to insert,
// delete or replace, and neighbours to exchange. Beyond limit it gives limit + 1.
func edits(a, b string, limit int) int {
	s, t := []rune(a), []rune(b)
	if diff := len(s) - len(t); diff > limit || -diff > limit {
		return limit + 1
	}
	before, last, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for k := range last {
		last[k] = k
	}
	for i := range s {
		row[0] = i + 1
		for k := range t {
			cost := 1
			if s[i] == t[k] {
				cost = 0
			}
			row[k+1] = min(last[k+1]+1, row[k]+1, last[k]+cost)
			if i > 0 && k > 0 && s[i] == t[k-1] && s[i-1] == t[k] {
				row[k+1] = min(row[k+1], before[k-1]+1)
			}
		}
		if slices.Min(row) > limit {
			return limit + 1
		}
		before, last, row = last, row, before
	}
	return last[len(t)]
}
