package catalogue

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers/located"
	"underbond/qc/unit"
)

// TestShippedEntries verifies every entry by itself.
func TestShippedEntries(t *testing.T) {
	entries := Shipped().Entries()
	if len(entries) < 200 {
		t.Errorf("%d entries", len(entries))
	}
	structures := structuresOf(t)
	for _, e := range entries {
		t.Run(e.Name, func(t *testing.T) {
			substance := e.CAS != ""
			if substance != slices.Contains([]string{ClassVolatile, ClassWood, ClassCaramel, ClassSugar, ClassAcid, ClassContaminant, ClassElement}, e.Class) {
				t.Errorf("class %q with CAS %q", e.Class, e.CAS)
			}
			if _, ok := structures[e.Name]; ok != substance {
				t.Errorf("structure listed: %v", ok)
			}
			if _, err := unit.Parse(e.Unit); err != nil {
				t.Error(err)
			}
			if !substance {
				if e.Formula != "" || e.InChIKey != "" || e.MolarMass != nil {
					t.Errorf("no substance, but %+v", e)
				}
				return
			}
			for _, number := range append([]string{e.CAS}, e.AlsoCAS...) {
				if !located.IsCAS(number) {
					t.Errorf("CAS %q", number)
				}
			}
			if !inchiKeyForm.MatchString(e.InChIKey) {
				t.Errorf("InChIKey %q", e.InChIKey)
			}
			mass, err := MolarMass(e.Formula)
			if err != nil {
				t.Fatal(err)
			}
			if want := math.Round(mass*1000) / 1000; *e.MolarMass != want && *e.MolarMass != mass {
				t.Errorf("molar mass %v, want %v", *e.MolarMass, want)
			}
		})
	}
}

// TestShippedNames: every listed name leads to its entry, and no two entries share one.
func TestShippedNames(t *testing.T) {
	owner := map[string]string{}
	languages := map[string]int{}
	for _, e := range Shipped().Entries() {
		texts := append([]string{e.Name}, e.AlsoCAS...)
		for _, number := range []string{e.CAS, e.InChIKey} {
			if number != "" {
				texts = append(texts, number)
			}
		}
		for _, l := range e.Names.lists() {
			texts = append(texts, *l.list...)
			languages[l.key] += len(*l.list)
		}
		for _, text := range texts {
			key := Normalise(text)
			if other, taken := owner[key]; taken && other != e.Name {
				t.Errorf("%q is %q and %q", text, other, e.Name)
			}
			owner[key] = e.Name
			if got, err := Shipped().Find(text); err != nil || got.Name != e.Name {
				t.Errorf("%q is %q, %v; want %q", text, got.Name, err, e.Name)
			}
		}
	}
	for _, key := range []string{"en", "de", "fr", "es", "it", "export"} {
		if languages[key] < 100 {
			t.Errorf("%d names in %s", languages[key], key)
		}
	}
	for key, a := range Shipped().ambiguous {
		if other, taken := owner[key]; taken {
			t.Errorf("ambiguous %q is %q", key, other)
		}
		for _, name := range a.Entries {
			if _, ok := Shipped().entries[name]; !ok {
				t.Errorf("ambiguous %q names %q", key, name)
			}
		}
	}
}

// TestShippedFiles: every data file is joined.
func TestShippedFiles(t *testing.T) {
	files, err := fs.Glob(shippedFiles, "data/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(shippedOrder) {
		t.Errorf("files %q, joined %q", files, shippedOrder)
	}
}

// TestPanel: what such a laboratory runs is there, under the names that methods use.
func TestPanel(t *testing.T) {
	for _, name := range strings.Split("methanol;acetaldehyde;ethyl acetate;acetal;1-propanol;2-methyl-1-propanol;1-butanol;2-butanol;"+
		"2-methyl-1-butanol;3-methyl-1-butanol;pentan-3-ol;gallic acid;ellagic acid;vanillic acid;syringic acid;vanillin;syringaldehyde;"+
		"coniferaldehyde;sinapaldehyde;scopoletin;furfural;5-hydroxymethylfurfural;4-methylimidazole;2-hydroxy-3-methoxybenzaldehyde;"+
		"sodium;magnesium;potassium;calcium;manganese;iron;copper;rubidium;strontium;lead;rhodium;nickel;cadmium;tin;molybdenum;vanadium;"+
		"glucose;fructose;sucrose;glycerol;density;strength;absorbance 280 nm;absorbance 420 nm;absorbance 520 nm;CIE L*;CIE a*;CIE b*;"+
		"total phenolic index;volatile substances;higher alcohols;esters;total acidity;δ13C of ethanol;δ18O of ethanol;δ2H of ethanol", ";") {
		if e, err := Shipped().Find(name); err != nil || e.Name != name {
			t.Errorf("%q is %q, %v", name, e.Name, err)
		}
	}
}

// TestStructures computes formula and InChIKey of every structure again.
func TestStructures(t *testing.T) {
	input, err := os.ReadFile("testdata/structures.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows := compute(t, input)
	if len(rows) != len(structuresOf(t)) {
		t.Errorf("%d computed", len(rows))
	}
	for _, row := range rows {
		e := Shipped().entries[row[0]]
		if e.Formula != row[1] || e.InChIKey != row[2] {
			t.Errorf("%s: %s %s, computed %s %s", row[0], e.Formula, e.InChIKey, row[1], row[2])
		}
	}
}

// compute runs the script with the first Python on PATH that has what it needs.
func compute(t *testing.T, input []byte) [][]string {
	t.Helper()
	reason := "there is no python3 on PATH"
	for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
		python := filepath.Join(dir, "python3")
		if _, err := os.Stat(python); err != nil {
			continue
		}
		cmd := exec.CommandContext(t.Context(), python, "testdata/structures.py")
		cmd.Stdin = bytes.NewReader(input)
		cmd.Env = append(os.Environ(), "PYTHONIOENCODING=utf-8")
		var stderr strings.Builder
		cmd.Stderr = &stderr
		out, err := cmd.Output()
		var exit *exec.ExitError
		if errors.As(err, &exit) && exit.ExitCode() == 1 { // a Python exception
			t.Fatalf("%s: %v\n%s", python, err, &stderr)
		}
		if err != nil {
			reason = fmt.Sprintf("%s: %v: %s", python, err, strings.TrimSpace(stderr.String()))
			continue
		}
		rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return rows[1:]
	}
	t.Skip("InChIKeys are not computed again: " + reason)
	return nil
}

func structuresOf(t *testing.T) map[string]string {
	t.Helper()
	f, err := os.Open("testdata/structures.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	list := map[string]string{}
	for _, row := range rows[1:] {
		list[row[0]] = row[1]
	}
	return list
}
