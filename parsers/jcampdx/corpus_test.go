package jcampdx

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

// expectation is the part of expected.json that is compared.
type expectation struct {
	Files map[string]struct {
		Charset string          `json:"charset"`
		Blocks  []expectedBlock `json:"blocks"`
	} `json:"files"`
}

type expectedBlock struct {
	Title   string          `json:"title"`
	Spectra []expectedTable `json:"spectra"` // the first three and the last of many
	Points  *int            `json:"nPointsAll"`
	Sum     *float64        `json:"sumYAll"`
	Count   int             `json:"nSpectra"`
}

type expectedTable struct {
	Label string       `json:"label"`
	Var   string       `json:"var"`
	Page  string       `json:"page"`
	Kind  string       `json:"kind"`
	XRule string       `json:"xRule"`
	XUnit string       `json:"xUnits"`
	YUnit string       `json:"yUnits"`
	N     int          `json:"n"`
	SumY  float64      `json:"sumY"`
	At    [][]*float64 `json:"at"`
}

// refusals are the corpus files that must be refused, and why.
var refusals = map[string]string{
	"misc_notable_01.jdx": "jcampdx-no-data",
	"misc_notable_03.jdx": "jcampdx-start",
	"syn_truncated.dx":    "jcampdx-incomplete",
	"syn_ycheck_bad.dx":   "jcampdx-y-check",
}

func TestCorpus(t *testing.T) {
	root := parserstest.Shared(t, "corpus/jcampdx")
	raw, err := os.ReadFile(filepath.Join(root, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var want expectation
	if err := json.Unmarshal(raw, &want); err != nil {
		t.Fatal(err)
	}
	tally := map[string]int{}
	for name, file := range want.Files {
		content, err := os.ReadFile(filepath.Join(root, "dev", name))
		if err != nil {
			continue
		}
		t.Run(name, func(t *testing.T) {
			var opt parsers.Options
			if strings.HasPrefix(file.Charset, "latin-1") {
				_, _, err := readAll(t, content, opt)
				if code := refusalCode(err); code != "jcampdx-encoding" {
					t.Errorf("without a configured code page: got %q", code)
				}
				opt.Encoding = "windows-1252"
			}
			got, problems, err := readAll(t, content, opt)
			if name == "misc_xy_02.jdx" && refusalCode(err) == "jcampdx-incomplete" {
				// Its 2420 scans must still be read right once the end is there.
				tally["refused"]++
				got, problems, err = readAll(t, append(content, "##END=\n"...), opt)
				tally["agree, with warnings"]--
			}
			if code := refusalCode(err); code != "" {
				tally["refused"]++
				if code != refusals[name] {
					t.Errorf("refused: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if wanted, ok := refusals[name]; ok {
				t.Fatalf("not refused, want %s", wanted)
			}
			next := 0
			for _, b := range file.Blocks {
				if b.Count == 0 {
					continue
				}
				if next == len(got) {
					t.Fatalf("only %d acquisitions", len(got))
				}
				compareBlock(t, got[next], b)
				next++
			}
			if next != len(got) {
				t.Errorf("%d acquisitions, want %d", len(got), next)
			}
			if len(problems) > 0 {
				tally["agree, with warnings"]++
				t.Log(problems)
			} else {
				tally["agree"]++
			}
		})
	}
	t.Logf("corpus: %v", tally)
}

func refusalCode(err error) string {
	var r *parsers.Refusal
	if errors.As(err, &r) {
		return r.Code
	}
	return ""
}

func compareBlock(t *testing.T, got acquisition, want expectedBlock) {
	t.Helper()
	if len(got.signals) != want.Count {
		t.Fatalf("block %q has %d tables, want %d", want.Title, len(got.signals), want.Count)
	}
	points, sum, size := 0, 0.0, 0.0
	for _, s := range got.spectra {
		points += len(s.Y)
		for _, y := range s.Y {
			if !math.IsNaN(y) {
				sum += y
				size += math.Abs(y)
			}
		}
	}
	if len(got.tables) == 0 && want.Points != nil {
		if points != *want.Points {
			t.Errorf("block %q has %d points, want %d", want.Title, points, *want.Points)
		}
		if !(math.Abs(sum-*want.Sum) <= 1e-9*math.Max(size, 1e-300)) {
			t.Errorf("block %q: sum %.12g, want %.12g", want.Title, sum, *want.Sum)
		}
	}
	for i, w := range want.Spectra {
		at := i
		if i == len(want.Spectra)-1 {
			at = len(got.signals) - 1
		}
		where := fmt.Sprintf("block %q, table %d", want.Title, at)
		switch s := got.signals[at].(type) {
		case *parsers.Spectrum:
			compareTable(t, where, s, w)
		case *parsers.Table:
			compareRows(t, where, s, w)
		}
	}
}

// compareRows compares groups of more than two members.
func compareRows(t *testing.T, where string, got *parsers.Table, want expectedTable) {
	t.Helper()
	if len(got.Rows) != want.N {
		t.Fatalf("%s: %d groups, want %d", where, len(got.Rows), want.N)
	}
	for _, at := range want.At {
		for i, w := range at[1:] {
			cell := got.Rows[int(*at[0])].Cells[i]
			if cell.Value == nil || !near(*cell.Value, *w, 1e-9) {
				t.Errorf("%s: member %d of group %g is %q, want %g", where, i, *at[0], cell.Text, *w)
			}
		}
	}
}

func compareTable(t *testing.T, where string, got *parsers.Spectrum, want expectedTable) {
	t.Helper()
	if len(got.Y) != want.N {
		t.Fatalf("%s: %d points, want %d", where, len(got.Y), want.N)
	}
	sum, size := 0.0, 0.0
	for _, y := range got.Y {
		if !math.IsNaN(y) {
			sum += y
			size += math.Abs(y)
		}
	}
	if !(math.Abs(sum-want.SumY) <= 1e-9*math.Max(size, 1e-300)) {
		t.Errorf("%s: sum %.12g, want %.12g", where, sum, want.SumY)
	}
	if want.XUnit != "" && !strings.EqualFold(got.XAxis.UnitText, want.XUnit) {
		t.Errorf("%s: x unit %q, want %q", where, got.XAxis.UnitText, want.XUnit)
	}
	if want.YUnit != "" && !strings.EqualFold(got.YAxis.UnitText, want.YUnit) {
		t.Errorf("%s: y unit %q, want %q", where, got.YAxis.UnitText, want.YUnit)
	}
	step := 0.0
	if n := len(got.X); n > 1 {
		step = math.Abs(slices.Max(got.X)-slices.Min(got.X)) / float64(n-1)
	}
	for _, at := range want.At {
		i := int(*at[0])
		if x := got.X[i]; at[1] != nil && !(math.Abs(x-*at[1]) <= 1e-6*step+1e-11*math.Abs(x)) {
			t.Errorf("%s: x[%d] = %.12g, want %.12g", where, i, x, *at[1])
		}
		switch y := got.Y[i]; {
		case at[2] == nil:
			if !math.IsNaN(y) {
				t.Errorf("%s: y[%d] = %g, want missing", where, i, y)
			}
		case !near(y, *at[2], 1e-9):
			t.Errorf("%s: y[%d] = %.12g, want %.12g", where, i, y, *at[2])
		}
	}
}

// TestTwins compares files that hold the same spectrum in two forms, up to rounding.
func TestTwins(t *testing.T) {
	root := parserstest.Shared(t, "corpus/jcampdx/dev")
	read := func(name string) parsers.Spectrum {
		content, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			t.Skipf("the twin %s is not in the corpus", name)
		}
		got, _, err := readAll(t, content, parsers.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return got[0].spectra[0]
	}
	a, b := read("nmr_difdup_05.DX"), read("nmr_difdup_08.DX")
	if len(a.Y) != len(b.Y) {
		t.Fatalf("%d and %d points", len(a.Y), len(b.Y))
	}
	for i := range a.Y {
		if !(math.Abs(a.Y[i]-b.Y[i]) < 1) {
			t.Errorf("point %d: %g and %g", i, a.Y[i], b.Y[i])
		}
	}
}
