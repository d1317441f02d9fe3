package mzml

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"

	"underbond/parsers/parserstest"
)

// expectation is what an independent reading of a corpus file found.
type expectation struct {
	Expect        string         `json:"expect"`
	RejectClass   string         `json:"reject_class"`
	Flags         []string       `json:"flags"`
	Version       *string        `json:"version"`
	NSpectra      int            `json:"n_spectra"`
	NTraces       int            `json:"n_chromatograms"`
	Spectra       []wantSpectrum `json:"spectra"`
	Chromatograms []wantTrace    `json:"chromatograms"`
}

type wantSpectrum struct {
	Index    int      `json:"index"`
	ID       string   `json:"id"`
	Level    *int     `json:"ms_level"`
	Polarity *string  `json:"polarity"`
	Mode     *string  `json:"mode"`
	ScanTime *float64 `json:"scan_time_s"`
	Axis     string   `json:"axis"`
	Error    string   `json:"error"`
	N        *int     `json:"n"`
	First    *float64 `json:"first"`
	Last     *float64 `json:"last"`
	Sum      *float64 `json:"sum"`
	Base     *float64 `json:"base_intensity"`
	BaseAt   *float64 `json:"base_at"`
}

type wantTrace struct {
	ID       string   `json:"id"`
	Error    string   `json:"error"`
	N        *int     `json:"n"`
	TimeUnit *string  `json:"time_unit"`
	FirstS   *float64 `json:"first_s"`
	LastS    *float64 `json:"last_s"`
	FirstRaw *float64 `json:"first_raw"`
	LastRaw  *float64 `json:"last_raw"`
	Sum      *float64 `json:"sum"`
	Max      *float64 `json:"max"`
	MaxAtS   *float64 `json:"max_at_s"`
	MaxAtRaw *float64 `json:"max_at_raw"`
}

// corpus finds the folder of shared files, a sibling of the repository.
func corpus(t testing.TB) string { return parserstest.Shared(t, "corpus/mzml") }

func corpusOrNone() string {
	path, _ := parserstest.FindShared("corpus/mzml")
	return path
}

// refusalCodes are the refusals that fit an expected class.
var refusalCodes = map[string][]string{
	"truncated":       {CodeTruncated},
	"dtd_refused":     {CodeDoctype},
	"not_mzml":        {CodeRoot},
	"not_well_formed": {CodeSyntax},
	"draft_version":   {CodeVersion},
	"empty_file":      {CodeEmpty},
}

// flagCodes are the warnings that fit an expected flag; a flag that is not here concerns
// the index, which is not read.
var flagCodes = map[string][]string{
	"version_attribute_empty":      {CodeVersionEmpty},
	"array_error":                  {CodeArrayDamaged, CodeArrayCoding, CodeArrayMissing, CodeArrayLength},
	"array_lengths_unequal":        {CodeArrayDamaged, CodeArrayCoding},
	"declared_count_differs":       {CodeCount},
	"default_length_differs":       {CodeArrayLength},
	"checksum_mismatch":            {CodeChecksum},
	"time_unit_missing_or_unknown": {CodeTimeUnit},
	"axis_not_sorted":              {CodeAxisOrder},
	"no_recognised_axis_array":     {CodeArrayMissing},
}

func TestCorpus(t *testing.T) {
	dir := corpus(t)
	text, err := os.ReadFile(filepath.Join(dir, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var want map[string]expectation
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	for name, w := range want {
		t.Run(name, func(t *testing.T) {
			content, err := os.ReadFile(filepath.Join(dir, "dev", name))
			if err != nil {
				t.Fatal(err)
			}
			got, problems, err := read(content, parsers.Limits{})
			proof, why, proofErr := Reader{}.EndProof(bytes.NewReader(content), int64(len(content)))
			if proofErr != nil {
				t.Fatalf("end proof: %v", proofErr)
			}
			if w.Expect == "reject" {
				var refusal *parsers.Refusal
				if !errors.As(err, &refusal) || !slices.Contains(refusalCodes[w.RejectClass], refusal.Code) {
					t.Errorf("%v, want a refusal for %s", err, w.RejectClass)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if proof != parsers.EndProofHeld {
				t.Errorf("end proof %s: %s", proof, why)
			}
			codes := codesOf(problems)
			t.Logf("warnings: %v", codes)
			for _, flag := range w.Flags {
				if fits, ok := flagCodes[flag]; ok && !slices.ContainsFunc(fits, func(c string) bool { return slices.Contains(codes, c) }) {
					t.Errorf("no warning for %s in %v", flag, codes)
				}
			}
			tolerance := 1e-9
			if strings.Contains(name, "_np") || strings.Contains(name, "numpress") {
				tolerance = 1e-6
			}
			compareAll(t, w, got, tolerance)
		})
	}
}

func compareAll(t *testing.T, w expectation, got *collected, tolerance float64) {
	t.Helper()
	if len(got.spectra) != w.NSpectra || len(got.traces) != w.NTraces {
		t.Fatalf("%d spectra and %d chromatograms, want %d and %d", len(got.spectra), len(got.traces), w.NSpectra, w.NTraces)
	}
	if w.Version != nil && got.header.Version != *w.Version {
		t.Errorf("version %q, want %q", got.header.Version, *w.Version)
	}
	for _, ws := range w.Spectra {
		compareSpectrum(t, ws, got.spectra[ws.Index], tolerance)
	}
	for i, wc := range w.Chromatograms {
		if len(w.Chromatograms) < len(got.traces) && i >= len(w.Chromatograms)/2 {
			i += len(got.traces) - len(w.Chromatograms) // the first and the last are listed
		}
		compareTrace(t, wc, got.traces[i], tolerance)
	}
}

func near(got float64, want *float64, tolerance float64) bool {
	return want == nil || math.Abs(got-*want) <= tolerance*math.Max(math.Abs(*want), 1e-300) || got == *want
}

func orEmpty(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// summary gives first, last, the sum, the largest ordinate and where it is.
func summary(x, y []float64) (first, last, sum, top, topAt float64) {
	if len(x) == 0 {
		return
	}
	first, last, top = x[0], x[len(x)-1], math.Inf(-1)
	for i, v := range y {
		sum += v
		if v > top {
			top, topAt = v, x[i]
		}
	}
	return
}

func compareSpectrum(t *testing.T, w wantSpectrum, got parsers.Spectrum, tolerance float64) {
	t.Helper()
	if got.ID != w.ID || got.Polarity != orEmpty(w.Polarity) || got.Representation != orEmpty(w.Mode) {
		t.Errorf("spectrum %d: %q %q %q, want %q %q %q", w.Index, got.ID, got.Polarity, got.Representation, w.ID, orEmpty(w.Polarity), orEmpty(w.Mode))
	}
	if level := 0; w.Level != nil || got.MSLevel != 0 {
		if w.Level != nil {
			level = *w.Level
		}
		if got.MSLevel != level {
			t.Errorf("spectrum %d: level %d, want %d", w.Index, got.MSLevel, level)
		}
	}
	if w.ScanTime == nil != math.IsNaN(got.ScanTime) || !math.IsNaN(got.ScanTime) && !near(got.ScanTime, w.ScanTime, 1e-9) {
		t.Errorf("spectrum %d: scan time %v, want %v", w.Index, got.ScanTime, w.ScanTime)
	}
	if w.Error != "" || w.N == nil {
		for _, v := range got.Y {
			if !math.IsNaN(v) {
				t.Fatalf("spectrum %d has an ordinate %v although an array fails: %s", w.Index, v, w.Error)
			}
		}
		return
	}
	if w.Axis != "" && got.XAxis.Name != w.Axis {
		t.Errorf("spectrum %d: axis %q, want %q", w.Index, got.XAxis.Name, w.Axis)
	}
	if len(got.X) != *w.N {
		t.Fatalf("spectrum %d: %d points, want %d", w.Index, len(got.X), *w.N)
	}
	first, last, sum, top, topAt := summary(got.X, got.Y)
	if !near(first, w.First, tolerance) || !near(last, w.Last, tolerance) || !near(sum, w.Sum, tolerance) ||
		!near(top, w.Base, tolerance) || !near(topAt, w.BaseAt, tolerance) {
		t.Errorf("spectrum %d: first %v last %v sum %v top %v at %v", w.Index, first, last, sum, top, topAt)
	}
}

func compareTrace(t *testing.T, w wantTrace, got parsers.Chromatogram, tolerance float64) {
	t.Helper()
	if got.ID != w.ID {
		t.Errorf("chromatogram %d: id %q, want %q", got.Index, got.ID, w.ID)
	}
	if w.N == nil {
		for _, v := range got.Value {
			if !math.IsNaN(v) {
				t.Fatalf("chromatogram %d has a value %v although an array fails: %s", got.Index, v, w.Error)
			}
		}
		return
	}
	if len(got.Time) != *w.N {
		t.Fatalf("chromatogram %d: %d points, want %d", got.Index, len(got.Time), *w.N)
	}
	if *w.N > 0 && (got.TimeAxis.Unit == "s") != (w.FirstS != nil) {
		t.Errorf("chromatogram %d: time unit %q, want %v", got.Index, got.TimeAxis.Unit, orEmpty(w.TimeUnit))
	}
	first, last, sum, top, topAt := summary(got.Time, got.Value)
	ok := near(first, w.FirstS, tolerance) && near(last, w.LastS, tolerance) && near(topAt, w.MaxAtS, tolerance) &&
		near(first, w.FirstRaw, tolerance) && near(last, w.LastRaw, tolerance) && near(topAt, w.MaxAtRaw, tolerance)
	if !ok || !near(sum, w.Sum, tolerance) || !near(top, w.Max, tolerance) {
		t.Errorf("chromatogram %d: first %v last %v sum %v top %v at %v", got.Index, first, last, sum, top, topAt)
	}
}
