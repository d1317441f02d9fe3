package jcampdx

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
)

// TestOneDamagedTableDoesNotLoseTheOthers: the damaged table is said to be lost and has
// no points, its acquisition keeps its number, and the others are whole.
func TestOneDamagedTableDoesNotLoseTheOthers(t *testing.T) {
	four := spectrumFile(fourLabels, fourTable)
	for name, c := range map[string]struct {
		table, code string
		line        int
	}{
		"check ordinate":        {"##XYDATA=(X++(Y..Y))\n10AJJ\n30DJ\n40E\n", "jcampdx-y-check", 29},
		"text":                  {"##XYDATA=(X++(Y..Y))\n10 1 2 #fault\n20 lamp failed\n", "jcampdx-ordinate", 28},
		"no data":               {"##XYDATA=(X++(Y..Y))\n", "jcampdx-empty-table", 27},
		"abscissae":             {"##XYDATA=(X++(Y..Y))\n10 1 2\n77 3\n12 4\n12 5\n", "jcampdx-abscissa", 27},
		"variables":             {"##XYDATA=(Q)\n10 1 2\n", "jcampdx-variables", 27},
		"pairs":                 {"##XYPOINTS=(XY..XY)\n1 2\n1 2 3\n", "jcampdx-group", 29},
		"rows":                  {"##PEAK ASSIGNMENTS=(XYA)\n(1,2,<a>)\n(1,two,<a>)\n", "jcampdx-group", 29},
		"factor":                {"##YFACTOR=0\n" + fourTable, "jcampdx-factor", 27},
		"outside of the limits": {"##YFACTOR=1e308\n##XYDATA=(X++(Y..Y))\n10 1 2 3 400\n", "jcampdx-number-range", 28},
	} {
		t.Run(name, func(t *testing.T) {
			bad := spectrumFile(fourLabels, c.table)
			content := "##TITLE=l\n##DATA TYPE=LINK\n##BLOCKS=3\n" + four + bad + four + "##END=\n"
			// The second block starts on line 16.
			got, problems, err := readAll(t, []byte(content), parsers.Options{})
			if err != nil || len(got) != 3 {
				t.Fatalf("%d acquisitions, %v", len(got), err)
			}
			for i, want := range []bool{false, true, false} {
				if s := got[i].spectra; len(s) != 1 || s[0].Lost != want || (len(s[0].Y) == 0) != want || got[i].header.Record != i+1 {
					t.Errorf("acquisition %d: record %d, %+v", i, got[i].header.Record, s)
				}
			}
			lost := slices.DeleteFunc(problems, func(p parsers.Problem) bool { return p.Grade != parsers.Lost })
			if len(lost) != 1 || lost[0].Code != c.code || lost[0].Where.Record != 2 || lost[0].Where.Line != c.line {
				t.Errorf("got %v", lost)
			}
			if len(got[1].trailer.Problems) == 0 || len(got[0].trailer.Problems)+len(got[2].trailer.Problems) > 0 {
				t.Error("the loss is not told of its acquisition alone")
			}
		})
	}
}

// TestNothingWholeIsARefusal: when no table is whole, or the blocks do not add up either, the
// content cannot be trusted.
func TestNothingWholeIsARefusal(t *testing.T) {
	four, bad := spectrumFile(fourLabels, fourTable), spectrumFile(fourLabels, "##XYDATA=(X++(Y..Y))\n10 1 2 #fault\n")
	for name, c := range map[string]struct {
		content, code string
		record        int
	}{
		"all damaged":        {bad + bad, "jcampdx-ordinate", 1},
		"number of blocks":   {"##TITLE=l\n##DATA TYPE=LINK\n##BLOCKS=3\n" + four + bad + "##END=\n", "jcampdx-blocks", 0},
		"end missing":        {four + strings.Replace(bad, "##END=\n", "", 1) + four, "jcampdx-missing-end", 2},
		"end missing at end": {four + strings.Replace(bad, "##END=\n", "", 1), "jcampdx-incomplete", 2},
		"text after the end": {four + bad + "more\n", "jcampdx-after-end", 0},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := readAll(t, []byte(c.content), parsers.Options{})
			if code := refusalCode(err); code != c.code || !strings.Contains(fmt.Sprint(err), fmt.Sprintf("record %d", c.record)) && c.record > 0 {
				t.Errorf("got %v", err)
			}
		})
	}
}

// TestLossesAreNotHiddenByWarnings: a table is said to be lost however many warnings
// come before it.
func TestLossesAreNotHiddenByWarnings(t *testing.T) {
	var b strings.Builder
	for range 3 * mostProblems {
		b.WriteString("##XYPOINTS=(XY..XY)\n1 2\n")
	}
	for range 2 * mostProblems {
		b.WriteString("##XYPOINTS=(XY..XY)\n1\n")
	}
	got, _, err := readAll(t, []byte(spectrumFile(fourLabels, b.String())), parsers.Options{})
	if err != nil {
		t.Fatal(err)
	}
	count := map[parsers.Grade]int{}
	for _, p := range got[0].trailer.Problems {
		count[p.Grade]++
	}
	if count[parsers.Lost] != mostProblems+1 || count[parsers.Warned] != mostProblems+1 {
		t.Errorf("%v", count)
	}
}
