package store

import "testing"

func TestNewer(t *testing.T) {
	for name, c := range map[string]struct {
		a, b string
		want bool
	}{
		"next":             {"2", "1", true},
		"before":           {"1", "2", false},
		"same":             {"1", "1", false},
		"as numbers":       {"10", "9", true},
		"parts":            {"1.10", "1.9", true},
		"more parts":       {"1.0.1", "1", true},
		"zero is nothing":  {"1.0", "1", false},
		"words":            {"draft", "1", false},
		"words after":      {"1", "draft", false},
		"a word in a part": {"2.b", "1.a", true},
		"later word":       {"1.b", "1.a", false},
	} {
		t.Run(name, func(t *testing.T) {
			if got := newer(c.a, c.b); got != c.want {
				t.Errorf("newer(%q, %q) = %v", c.a, c.b, got)
			}
		})
	}
}
