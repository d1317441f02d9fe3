package scenario

import (
	"bytes"
	"crypto/sha1"
	"encoding/hex"
	"path"
	"reflect"
	"slices"
	"testing"

	"underbond/parsers/delimited"
	"underbond/qc"
	"underbond/qc/document"
	"underbond/qc/method"
	"underbond/qc/register"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

func build(t *testing.T, seed uint64) *Scenario {
	t.Helper()
	s, err := Build(seed)
	if err != nil {
		t.Fatalf("build seed %d: %v", seed, err)
	}
	return s
}

func TestSameSeedGivesSameBytes(t *testing.T) {
	if a, b := build(t, 7), build(t, 7); !reflect.DeepEqual(a, b) {
		t.Error("two scenarios of seed 7 differ")
	}
	a, b := build(t, 7), build(t, 8)
	for i := range a.Steps {
		if bytes.Equal(a.Steps[i].Bytes, b.Steps[i].Bytes) {
			t.Errorf("%s is the same for seeds 7 and 8", a.Steps[i].File)
		}
	}
}

func TestDocumentsParse(t *testing.T) {
	names := map[string]int{}
	for _, d := range build(t, 1).Documents {
		kind, err := document.Detect(d.File, d.Data)
		if err != nil {
			t.Errorf("detect: %v", err)
		}
		if string(kind) != d.Kind {
			t.Errorf("%s is taken for a %s, it is a %s", d.File, kind, d.Kind)
		}
		names[d.Kind]++
		switch d.Kind {
		case "method":
			_, err = method.Parse(d.File, d.Data)
		case "profile":
			_, err = delimited.ParseProfile(d.File, d.Data)
		case "worklist":
			_, err = worklist.Parse(d.File, d.Data)
		case "register":
			_, err = register.Parse(d.File, d.Data)
		case "standards":
			_, err = standard.Parse(d.File, d.Data)
		}
		if err != nil {
			t.Error(err)
		}
	}
	if want := map[string]int{"method": 5, "profile": 3, "worklist": 9, "register": 1, "standards": 1}; !reflect.DeepEqual(names, want) {
		t.Errorf("documents: %v, want %v", names, want)
	}
}

func TestMethodsAgreeWithPanels(t *testing.T) {
	panels := map[string][]measurand{"congeners-gc": congeners, "wood-lc": phenolics, "metals-pm": elements}
	for name, panel := range panels {
		m := methodOf(t, build(t, 1), name)
		if len(m.Analytes) != len(panel) {
			t.Fatalf("%s has %d analytes, the panel %d", name, len(m.Analytes), len(panel))
		}
		for i, a := range m.Analytes {
			if p := panel[i]; a.Name != p.name || a.Unit != p.unit || *a.LOQ != p.floor {
				t.Errorf("%s: %s in %s with LOQ %v, the panel has %s in %s with %v", name, a.Name, a.Unit, *a.LOQ, p.name, p.unit, p.floor)
			}
			if a.Source.Chromatogram != nil && a.Source.Chromatogram.Retention != panel[i].retention {
				t.Errorf("%s: %s at %v min, the panel has %v", name, a.Name, a.Source.Chromatogram.Retention, panel[i].retention)
			}
		}
	}
	for i, a := range methodOf(t, build(t, 1), "colour-uv").Analytes {
		if want := absorbances[i]; a.Name != want.name || a.Source.Spectrum.At != want.wavelength || *a.LOQ != absorbanceFloor || *a.Source.Spectrum.Baseline != baselineAt {
			t.Errorf("colour-uv: %s at %v nm with LOQ %v", a.Name, a.Source.Spectrum.At, *a.LOQ)
		}
	}
}

// methodOf parses a method of the scenario.
func methodOf(t *testing.T, s *Scenario, name string) *method.Method {
	t.Helper()
	for _, d := range s.Documents {
		if d.Kind == "method" && path.Base(d.File) == name+".yaml" {
			m, err := method.Parse(d.File, d.Data)
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
	}
	t.Fatalf("the scenario has no method %s", name)
	return nil
}

func TestPiecesMakeTheWhole(t *testing.T) {
	for _, step := range build(t, 3).Steps {
		pieces := step.Pieces()
		if len(pieces) < 2 {
			t.Errorf("%s is written in %d pieces", step.File, len(pieces))
		}
		if !bytes.Equal(bytes.Join(pieces, nil), step.Bytes) {
			t.Errorf("the pieces of %s are not the file", step.File)
		}
	}
}

// TestTruthStaysClearOfLimits: noise must never decide whether a number is reported.
func TestTruthStaysClearOfLimits(t *testing.T) {
	tops := map[string]float64{}
	for _, panel := range []struct {
		list     []measurand
		dilution float64
	}{{congeners, 1}, {phenolics, 1}, {elements, elementDilution}} {
		for _, m := range panel.list {
			tops[m.name] = m.top * panel.dilution
		}
	}
	for _, a := range absorbances {
		tops[a.name] = 2 * spectrumDilution
	}
	loqs := loqOf(t, build(t, 0))
	for seed := range uint64(200) {
		b := &builder{seed: seed, cellar: fillCellar(seed), stray: strayBottle(seed)}
		var truths []Truth
		for _, p := range b.plans() {
			truths = append(truths, p.truths(b)...)
		}
		for _, v := range truths {
			if v.Basis != qc.BasisAsIs {
				continue
			}
			top, ok := tops[v.Analyte]
			if ok && v.Value+v.Tolerance > top {
				t.Errorf("seed %d: %s %s is %v ± %v, the range ends at %v", seed, v.Sample, v.Analyte, v.Value, v.Tolerance, top)
			}
			loq := loqs[v.Analyte]
			if v.Censored && v.Value+v.Tolerance >= loq || !v.Censored && v.Value-v.Tolerance <= loq && loq > 0 {
				t.Errorf("seed %d: %s %s is %v ± %v, near the LOQ of %v", seed, v.Sample, v.Analyte, v.Value, v.Tolerance, loq)
			}
		}
	}
}

// loqOf gives the limits of quantitation in the undiluted sample.
func loqOf(t *testing.T, s *Scenario) map[string]float64 {
	t.Helper()
	out := map[string]float64{}
	for name, dilution := range map[string]float64{"congeners-gc": 1, "wood-lc": 1, "metals-pm": elementDilution, "colour-uv": spectrumDilution} {
		for _, a := range methodOf(t, s, name).Analytes {
			out[a.Name] = *a.LOQ * dilution
		}
	}
	return out
}

func TestHistoriesShow(t *testing.T) {
	s := build(t, 1)
	value := func(sample, analyte string) float64 {
		for _, v := range s.Truth {
			if v.Sample == sample && v.Analyte == analyte && v.Basis == qc.BasisAsIs {
				return v.Value
			}
		}
		t.Fatalf("no truth of %s in %s", analyte, sample)
		return 0
	}
	if clear, oldPale := value("OC-001", "absorbance 420 nm"), value("OC-009", "absorbance 420 nm"); oldPale > 0.04 || clear > oldPale {
		t.Errorf("OC-009 has absorbance %v at 420 nm, it should look like water", oldPale)
	}
	if old, young := value("OC-009", "ellagic acid"), value("OC-002", "ellagic acid"); old < 1.5*young {
		t.Errorf("OC-009 has %v mg/L ellagic acid and OC-002 has %v: ten years in wood should show", old, young)
	}
	if dark, old := value("OC-010", "absorbance 420 nm"), value("OC-013", "absorbance 420 nm"); dark < old {
		t.Errorf("OC-010 has absorbance %v at 420 nm, OC-013 has %v: caramel should show", dark, old)
	}
	if ratio := value("OC-010", "furfural") / value("OC-010", "5-hydroxymethylfurfural"); ratio > 0.3 {
		t.Errorf("OC-010 has furfural to 5-hydroxymethylfurfural %v, caramel should show", ratio)
	}
	if pot, column := value("OC-001", "copper"), value("OC-014", "copper"); pot < 3*column {
		t.Errorf("copper is %v µg/L from a pot and %v from a column", pot, column)
	}
	if methanol := value("OC-012", "methanol") * 10 / 43.51; methanol < 1030 {
		t.Errorf("OC-012 has %v g/hL p.a. of methanol, it should exceed the limit", methanol)
	}
}

func TestDensityTable(t *testing.T) {
	// Published values of OIML R 22 at 20 °C.
	for strength, want := range map[float64]float64{0: 998.201, 10: 984.71, 40: 948.05, 50: 930.14, 90: 829.18, 100: 789.24} {
		if got := densityAt20(strength); got < want-0.006 || got > want+0.006 {
			t.Errorf("density at %v %% vol is %v, want %v", strength, got, want)
		}
	}
}

func TestMzMLWrapper(t *testing.T) {
	seen := 0
	for _, step := range build(t, 1).Steps {
		if step.Instrument != "LC-1" || step.Unfinished {
			continue
		}
		seen++
		head, tail, ok := bytes.Cut(step.Bytes, []byte("<fileChecksum>"))
		if !ok {
			t.Fatalf("%s has no checksum", step.File)
		}
		sum := sha1.Sum(append(slices.Clone(head), "<fileChecksum>"...))
		if got, _, _ := bytes.Cut(tail, []byte("<")); string(got) != hex.EncodeToString(sum[:]) {
			t.Errorf("%s states checksum %s, it is %x", step.File, got, sum)
		}
		if at := number64(t, step.Bytes, "<offset idRef=\"absorption 280 nm\">"); !bytes.HasPrefix(step.Bytes[at:], []byte("<chromatogram ")) {
			t.Errorf("%s: the offset of the chromatogram points at %.20q", step.File, step.Bytes[at:])
		}
		if at := number64(t, step.Bytes, "<indexListOffset>"); !bytes.HasPrefix(step.Bytes[at:], []byte("<indexList ")) {
			t.Errorf("%s: the offset of the index points at %.20q", step.File, step.Bytes[at:])
		}
	}
	if seen != 47 {
		t.Errorf("%d finished mzML files, want 47", seen)
	}
}

// number64 reads the number that follows a tag.
func number64(t *testing.T, data []byte, tag string) int {
	t.Helper()
	_, tail, _ := bytes.Cut(data, []byte(tag))
	n := 0
	for _, c := range tail {
		if c < '0' || c > '9' {
			return n
		}
		n = 10*n + int(c-'0')
	}
	t.Fatalf("no number after %s", tag)
	return 0
}

// TestReexportChangesOneNumber: the second strength export differs in one cell.
func TestReexportChangesOneNumber(t *testing.T) {
	var exports [][]byte
	for _, step := range build(t, 5).Steps {
		if step.File == strength1+".csv" {
			exports = append(exports, step.Bytes)
		}
	}
	if len(exports) != 2 {
		t.Fatalf("%d exports of %s, want 2", len(exports), strength1)
	}
	first, second := bytes.Split(exports[0], []byte("\n")), bytes.Split(exports[1], []byte("\n"))
	changed := 0
	for i := range first {
		a, b := bytes.Split(first[i], []byte(",")), bytes.Split(second[i], []byte(","))
		for k := range a {
			if !bytes.Equal(a[k], b[k]) {
				changed++
				if string(a[3]) != slippedSample || string(a[k]) != "41.42" {
					t.Errorf("row %q became %q", first[i], second[i])
				}
			}
		}
	}
	if changed != 1 {
		t.Errorf("%d cells changed, want 1", changed)
	}
}
