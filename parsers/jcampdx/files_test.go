package jcampdx

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
)

// TestHandMadeFiles: what the hand-made files hold, as number of points or rows and sum of
// ordinates of each table, and the codes of all problems.
func TestHandMadeFiles(t *testing.T) {
	type table struct {
		n   int
		sum float64
	}
	for name, c := range map[string]struct {
		records int
		tables  []table
		codes   string
	}{
		"compound.dx":      {2, []table{{4, 1.15}, {3, 0.95}, {2, 0.2}}, ""},
		"forms.dx":         {1, []table{{46, 870.015}}, ""},
		"difdup.dx":        {1, []table{{53, 1.489}}, ""},
		"pages.dx":         {1, []table{{4, 10}, {4, 100}}, ""},
		"series.dx":        {1, []table{{3, 129}, {2, 120}}, ""},
		"comma.dx":         {1, []table{{3, 1.75}}, "jcampdx-decimal-comma"},
		"interferogram.dx": {1, []table{{5, 18}}, ""},
		"damaged.dx":       {3, []table{{2, 11}, {0, 0}, {0, 0}}, "jcampdx-y-check jcampdx-abscissa jcampdx-end-without-equals"},
	} {
		t.Run(name, func(t *testing.T) {
			content, err := os.ReadFile(filepath.Join("testdata", "files", name))
			if err != nil {
				t.Fatal(err)
			}
			got, problems, err := readAll(t, content, parsers.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != c.records {
				t.Errorf("%d acquisitions", len(got))
			}
			var tables []table
			for _, a := range got {
				for _, s := range a.signals {
					points := asPoints(s)
					sum := 0.0
					for _, y := range points.Y {
						if !math.IsNaN(y) {
							sum += y
						}
					}
					tables = append(tables, table{len(points.Y), sum})
				}
			}
			if !slices.EqualFunc(tables, c.tables, func(a, b table) bool { return a.n == b.n && near(a.sum, b.sum, 1e-12) }) {
				t.Errorf("tables %v, want %v", tables, c.tables)
			}
			if all := strings.Join(codes(problems), " "); all != c.codes {
				t.Errorf("problems %v", problems)
			}
		})
	}
}
