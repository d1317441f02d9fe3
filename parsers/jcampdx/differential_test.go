package jcampdx

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

// otherTable is what the general-purpose reader found in one table.
type otherTable struct {
	N           int
	First, Last *float64
	Unit        string
	Sum, Size   *float64
}

// TestAgreesWithGeneralReader compares what this reader and a general-purpose one find in
// every file of the corpus. Where they differ, the reason must be known beforehand: the
// other reader departs from the standard there, or takes what cannot be trusted.
func TestAgreesWithGeneralReader(t *testing.T) {
	modules := nodeModules(t)
	dir := filepath.Join(parserstest.Shared(t, "corpus/jcampdx"), "dev")
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	other := readElsewhere(t, modules, files)
	tally := map[string]int{}
	for i, file := range files {
		name := filepath.Base(file)
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) {
			difference := compareReaders(t, content, other[i])
			known := knownDifferences[name]
			switch {
			case difference != known.difference:
				t.Errorf("got difference %q, known is %q", difference, known.difference)
			case difference == "":
				tally["agree"]++
			default:
				tally[known.reason]++
				t.Logf("%s: %s", known.reason, difference)
			}
		})
	}
	for reason, n := range tally {
		t.Logf("%4d %s", n, reason)
	}
}

// nodeModules finds the folder that holds the general-purpose reader, or skips the test.
func nodeModules(t *testing.T) string {
	t.Helper()
	if _, err := exec.LookPath("node"); err != nil {
		t.Skip("node is not installed")
	}
	places := append([]string{os.Getenv("UNDERBOND_NODE_MODULES")}, filepath.SplitList(os.Getenv("NODE_PATH"))...)
	for _, dir := range places {
		if _, err := os.Stat(filepath.Join(dir, "jcampconverter", "package.json")); dir != "" && err == nil {
			return dir
		}
	}
	t.Skip("the package jcampconverter is in neither UNDERBOND_NODE_MODULES nor NODE_PATH")
	return ""
}

// readElsewhere gives the tables of each file as the other reader sees them; nil where it fails.
func readElsewhere(t *testing.T, modules string, files []string) [][]otherTable {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "node", append([]string{filepath.Join("testdata", "reference.mjs"), modules}, files...)...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, stderr.Bytes())
	}
	var all [][]otherTable
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 16<<20)
	if lines.Scan() {
		t.Logf("compared with %s", lines.Text())
	}
	for lines.Scan() {
		var found struct{ Tables []otherTable }
		if err := json.Unmarshal(lines.Bytes(), &found); err != nil {
			t.Fatal(err)
		}
		all = append(all, found.Tables)
	}
	if lines.Err() != nil || len(all) != len(files) {
		t.Fatalf("%d answers for %d files, %v", len(all), len(files), lines.Err())
	}
	return all
}

// compareReaders says how the readers differ, the first difference only.
func compareReaders(t *testing.T, content []byte, other []otherTable) string {
	t.Helper()
	got, _, err := readAll(t, content, parsers.Options{Encoding: "windows-1252"})
	if code := refusalCode(err); code != "" {
		if len(other) == 0 {
			return ""
		}
		return fmt.Sprintf("refused here (%s), %d tables there", code, len(other))
	}
	if err != nil {
		t.Fatal(err)
	}
	var ours []parsers.Spectrum
	var frequency []float64
	for _, a := range got {
		mhz := math.NaN()
		for _, f := range a.header.Fields {
			if normalise([]byte(f.Name)) == ".OBSERVEFREQUENCY" {
				mhz, _, _ = headerNumber(f.Text)
			}
		}
		for _, s := range a.signals {
			ours = append(ours, asPoints(s))
			frequency = append(frequency, mhz)
		}
	}
	if len(ours) != len(other) {
		return fmt.Sprintf("%d tables here, %d there", len(ours), len(other))
	}
	for i, s := range ours {
		if d := compareSpectra(s, other[i], frequency[i]); d != "" {
			return fmt.Sprintf("table %d: %s", i, d)
		}
	}
	return ""
}

// compareSpectra compares count, sum and ends. frequency is that of a spectrometer in
// MHz: the other reader converts hertz to parts per million unasked, and the width must be
// the same then.
func compareSpectra(a parsers.Spectrum, b otherTable, frequency float64) string {
	n := len(a.Y)
	if n != b.N {
		return fmt.Sprintf("%d points here, %d there", n, b.N)
	}
	sum, size, missing := 0.0, 0.0, 0
	for _, y := range a.Y {
		if math.IsNaN(y) {
			missing++
			continue
		}
		sum += y
		size += math.Abs(y)
	}
	if b.Sum == nil || !(math.Abs(sum-*b.Sum) <= 1e-9*size) {
		return fmt.Sprintf("sum of ordinates %.10g with %d missing here, %s there", sum, missing, shown(b.Sum))
	}
	if b.First == nil || b.Last == nil {
		return "no abscissae there"
	}
	first, last := a.X[0], a.X[n-1]
	if strings.EqualFold(a.XAxis.UnitText, "Hz") && b.Unit == "PPM" {
		if width, other := last-first, (*b.Last-*b.First)*frequency; !(math.Abs(width-other) <= 1e-3*math.Abs(width)) {
			return fmt.Sprintf("width %.10g Hz here, %.10g Hz there", width, other)
		}
		return ""
	}
	// The other reader adds up steps, so that errors grow along the table.
	step := math.Abs(slices.Max(a.X)-slices.Min(a.X)) / float64(max(n-1, 1))
	if near := 1e-3 * step; !(math.Abs(first-*b.First) <= near+1e-9*math.Abs(first)) || !(math.Abs(last-*b.Last) <= near+1e-9*math.Abs(last)) {
		return fmt.Sprintf("abscissae %.10g to %.10g %s here, %s to %s %s there", first, last, a.XAxis.UnitText, shown(b.First), shown(b.Last), b.Unit)
	}
	return ""
}

func shown(v *float64) string {
	if v == nil {
		return "none"
	}
	return strings.TrimSpace(fmt.Sprintf("%.10g", *v))
}

// Why readers differ: what the other one does, unless it says otherwise.
const (
	xyPoints   = "passes XYPOINTS over"
	pages2D    = "keeps the pages of two-dimensional data apart from spectra"
	blankLabel = "wants ## in the first column"
	comment    = "loses a factor that a comment follows"
	comma      = "passes a table with decimal commas over"
	dupCheck   = "decodes a repeat count after a check ordinate wrongly"
	exponents  = "reads exponents as pseudo-digits"
	spelling   = "does not know a factor's label in all spellings"
	missingY   = "leaves missing ordinates out, so that the abscissae of all others move"
	rows       = "does not read a table of groups with more than two members"
	noEnd      = "takes content without its end"
	yCheck     = "makes no check of ordinates"
)

// knownDifferences are the files that the readers see differently, and the first difference.
var knownDifferences = map[string]struct{ reason, difference string }{
	"ims_difdup_01.DX":        {rows, "2 tables here, 1 there"},
	"ir_xy_01.jdx":            {xyPoints, "2 tables here, 0 there"},
	"misc_affn_02.jdx":        {pages2D, "4 tables here, 0 there"},
	"misc_xy_02.jdx":          {noEnd, "refused here (jcampdx-incomplete), 2420 tables there"},
	"nmr2d_affn_02.jdx":       {pages2D, "2 tables here, 0 there"},
	"nmr2d_difdup_01.jdx":     {pages2D, "1139 tables here, 0 there"},
	"nmr2d_difdup_02.jdx":     {pages2D, "1024 tables here, 0 there"},
	"nmr_difdup_08.DX":        {blankLabel, "1 tables here, 0 there"},
	"nmr_mixed_02.jdx":        {rows, "table 2: 198 points here, 0 there"},
	"nmrfid_difdup_01.DX":     {blankLabel, "2 tables here, 0 there"},
	"syn_comments.dx":         {comment, "table 0: sum of ordinates 3.6 with 0 missing here, 36 there"},
	"syn_decimal_comma_xy.dx": {comma, "1 tables here, 0 there"},
	"syn_dup_after_check.dx":  {dupCheck, "table 0: sum of ordinates 134 with 0 missing here, 110 there"},
	"syn_exp_affn.dx":         {exponents, "table 0: 6 points here, 18 there"},
	"syn_labels.dx":           {spelling, "table 0: sum of ordinates 23 with 0 missing here, 46 there"},
	"syn_missing_q.dx":        {missingY, "table 0: 8 points here, 6 there"},
	"syn_truncated.dx":        {noEnd, "refused here (jcampdx-incomplete), 1 tables there"},
	"syn_ycheck_bad.dx":       {yCheck, "refused here (jcampdx-y-check), 1 tables there"},
	"uv_xy_04.jdx":            {xyPoints, "3 tables here, 0 there"},
	"uv_xy_07.jdx":            {xyPoints, "1 tables here, 0 there"},
}
