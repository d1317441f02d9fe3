package mzml

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"underbond/parsers"
)

// referencePython finds a Python that has pymzml.
func referencePython(t *testing.T) string {
	t.Helper()
	for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
		python := filepath.Join(dir, "python3")
		if exec.Command(python, "-c", "import pymzml").Run() == nil {
			return python
		}
	}
	t.Skip("no python3 in PATH has pymzml (Debian package python3-pymzml)")
	return ""
}

// referenceFile is what the other reader found in a file.
type referenceFile struct {
	Signals []referenceSignal `json:"signals"`
	Error   string            `json:"error"`
}

type referenceSignal struct {
	Kind   string  `json:"kind"`
	Error  string  `json:"error"`
	Points int     `json:"points"`
	First  *string `json:"first"`
	Last   *string `json:"last"`
	Sum    string  `json:"sum"`
	Level  *int    `json:"level"`
	Time   *string `json:"time_s"`
}

// Each file that this reader takes is read with an independent one too. All that differs
// must be in referenceDifferences, with its reason.
func TestAgainstReferenceReader(t *testing.T) {
	python := referencePython(t)
	var paths []string
	if dir, err := filepath.Glob(filepath.Join(corpusOrNone(), "dev", "*")); err == nil {
		paths = dir
	}
	paths = append(paths, generatedFiles(t)...)
	command := exec.Command(python, append([]string{filepath.Join("testdata", "read_with_pymzml.py")}, paths...)...)
	command.Stderr = io.Discard
	out, err := command.Output()
	if err != nil {
		t.Fatalf("run the reference reader: %v", err)
	}
	var found []referenceFile
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		if !strings.HasPrefix(lines.Text(), "{") {
			continue // it prints warnings too
		}
		var f referenceFile
		if err := json.Unmarshal(lines.Bytes(), &f); err != nil {
			t.Fatal(err)
		}
		found = append(found, f)
	}
	if len(found) != len(paths) {
		t.Fatalf("the reference reader answered for %d of %d files", len(found), len(paths))
	}
	agree, differ, refused, signals := 0, 0, 0, 0
	for i, path := range paths {
		name := filepath.Base(path)
		t.Run(name, func(t *testing.T) {
			content, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			own, _, err := read(content, parsers.Limits{})
			if err != nil {
				refused++
				return
			}
			got, n := differences(own, found[i], strings.Contains(name, "_np") || strings.Contains(name, "numpress"))
			signals += n
			var why []string
			for _, d := range referenceDifferences {
				if slices.Contains(d.files, name) {
					why = append(why, d.differs...)
				}
			}
			for _, d := range got {
				if !slices.Contains(why, d) {
					t.Errorf("differs in %s, of all differences %v", d, got)
				}
			}
			if len(got) == 0 {
				agree++
			} else {
				differ++
			}
		})
	}
	t.Logf("%d files agree (%d signals compared in all), %d differ for known reasons, %d are refused here", agree, signals, differ, refused)
	if agree < 2 {
		t.Error("hardly a file agrees")
	}
}

// differences names what differs between both readings.
func differences(own *collected, other referenceFile, lossy bool) (list []string, compared int) {
	add := func(what string, differs bool) {
		if differs && !slices.Contains(list, what) {
			list = append(list, what)
		}
	}
	tolerance := 1e-9
	if lossy {
		tolerance = 1e-6
	}
	equal := func(a float64, text *string) bool {
		if text == nil {
			return math.IsNaN(a)
		}
		b, err := strconv.ParseFloat(*text, 64)
		return err == nil && (math.Abs(a-b) <= tolerance*math.Abs(b) || a == b || math.IsNaN(a) && math.IsNaN(b))
	}
	add("failure", other.Error != "")
	var spectra, traces []referenceSignal
	for _, s := range other.Signals {
		add("failure", s.Error != "")
		if s.Kind == "chromatogram" {
			traces = append(traces, s)
		} else {
			spectra = append(spectra, s)
		}
	}
	add("spectra", len(spectra) != len(own.spectra))
	add("chromatograms", len(traces) != len(own.traces))
	sums := func(s referenceSignal, x, y []float64) bool {
		if s.Error != "" {
			return false
		}
		compared++
		add("points", s.Points != len(x))
		if s.Points != len(x) || len(x) == 0 {
			return true
		}
		sum := 0.0
		for _, v := range y {
			sum += v
		}
		add("first", !equal(x[0], s.First))
		add("last", !equal(x[len(x)-1], s.Last))
		add("sum", !equal(sum, &s.Sum))
		return true
	}
	for i, s := range spectra[:min(len(spectra), len(own.spectra))] {
		of := own.spectra[i]
		if sums(s, of.X, of.Y) {
			level := 0
			if s.Level != nil {
				level = *s.Level
			}
			add("level", level != of.MSLevel)
			add("time", !equal(of.ScanTime, s.Time))
		}
	}
	for i, s := range traces[:min(len(traces), len(own.traces))] {
		of := own.traces[i]
		x := slices.Clone(of.Time)
		if strings.HasPrefix(of.TimeAxis.UnitText, "minute") { // the other gives times as written
			for j := range x {
				x[j] /= 60
			}
		}
		sums(s, x, of.Value)
	}
	return list, compared
}

// generatedFiles writes files of codings that the other reader knows, with the names of
// terms that it goes by.
func generatedFiles(t *testing.T) []string {
	t.Helper()
	names := map[string]string{
		"MS:1000511": "ms level", "MS:1000579": "MS1 spectrum", "MS:1000128": "profile spectrum", "MS:1000795": "no combination",
		"MS:1000016": "scan start time", "MS:1000514": "m/z array", "MS:1000515": "intensity array", "MS:1000523": "64-bit float",
		"MS:1000521": "32-bit float", "MS:1000576": "no compression", "MS:1000574": "zlib compression",
	}
	var mz, y []float64
	for i := range 50 {
		mz, y = append(mz, 100+float64(i)*1.25), append(y, float64(i*i%17)*10)
	}
	terms := cv("MS:1000511", "1") + cv("MS:1000579", "") + cv("MS:1000128", "") +
		`<scanList count="1">` + cv("MS:1000795", "") + "<scan>" + cvUnit("MS:1000016", "2.5", "UO:0000031") + "</scan></scanList>"
	axis, value := cvUnit("MS:1000514", "", "MS:1000040"), cvUnit("MS:1000515", "", "MS:1000131")
	var list []string
	for name, arrays := range map[string][]string{
		"made_plain.mzML": {arrayElement(packF64(mz...), f64, plain, axis), arrayElement(packF32(y...), f32, plain, value)},
		"made_zlib.mzML":  {arrayElement(squeeze(packF64(mz...)), f64, deflate, axis), arrayElement(squeeze(packF64(y...)), f64, deflate, value)},
	} {
		var spectra []string
		for i := range 4 {
			spectra = append(spectra, spectrumElement(i, len(mz), terms, arrays...))
		}
		text := strings.ReplaceAll(document(spectrumList(spectra...)), `unitName="unit"`, `unitName="minute"`)
		for accession, term := range names {
			text = strings.ReplaceAll(text, fmt.Sprintf("accession=%q name=%q", accession, "any name"), fmt.Sprintf("accession=%q name=%q", accession, term))
		}
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		list = append(list, path)
	}
	return list
}
