package watch

import (
	"io"
	"strings"
	"testing"
)

func TestFindNULs(t *testing.T) {
	t.Parallel()
	const block = 128 << 10
	for name, c := range map[string]struct {
		content string
		at      int64 // -1: none
	}{
		"none":              {strings.Repeat("1;2\n", block), -1},
		"short run":         {"a" + strings.Repeat("\x00", nulRun-1) + "b", -1},
		"at the start":      {strings.Repeat("\x00", nulRun), 0},
		"at the end":        {"abc" + strings.Repeat("\x00", nulRun), 3},
		"over a block edge": {strings.Repeat("x", block-3) + strings.Repeat("\x00", nulRun), block - 3},
		"later":             {strings.Repeat("x", 3*block+5) + strings.Repeat("\x00", nulRun) + "y", 3*block + 5},
		"two-byte text":     {strings.Repeat("a\x00", block), -1},
	} {
		for kind, r := range map[string]io.Reader{"whole": strings.NewReader(c.content), "in small reads": smallReads{strings.NewReader(c.content)}} {
			at, found, err := findNULs(t.Context(), r)
			if err != nil || found != (c.at >= 0) || found && at != c.at {
				t.Errorf("%s, %s: %d, %v, %v", name, kind, at, found, err)
			}
		}
	}
}

// smallReads gives a few bytes at a time.
type smallReads struct{ r io.Reader }

func (s smallReads) Read(p []byte) (int, error) { return s.r.Read(p[:min(len(p), 1009)]) }
