package mzml

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
)

// indexed wraps a document and gives it the index that stated makes of the true offsets.
func indexed(content string, stated func(list string, i int, offset int) string) string {
	content = strings.Replace(content, "<mzML", "<indexedmzML"+xmlns+"><mzML", 1)
	content = strings.TrimSuffix(content, "\n") + "\n"
	at := len(content)
	var b strings.Builder
	b.WriteString("<indexList>")
	for _, list := range listed {
		fmt.Fprintf(&b, `<index name=%q>`, list)
		for i, m := range regexp.MustCompile("<"+list+` index="\d+" id="([^"]*)"`).FindAllStringSubmatchIndex(content, -1) {
			if offset := stated(list, i, m[0]); offset != "" {
				fmt.Fprintf(&b, `<offset idRef=%q>%s</offset>`, content[m[2]:m[3]], offset)
			}
		}
		b.WriteString("</index>")
	}
	fmt.Fprintf(&b, "</indexList><indexListOffset>%d</indexListOffset><fileChecksum>0</fileChecksum></indexedmzML>\n", at)
	return content + b.String()
}

func TestIndex(t *testing.T) {
	var spectra, traces []string
	for i := range 5 {
		spectra = append(spectra, spectrumElement(i, 2, `<referenceableParamGroupRef ref="g"/>`, mzArray(float64(i), 9), intensityArray(1, 2)))
	}
	for i := range 2 {
		traces = append(traces, chromatogramElement(i, 2, "", timeArray("UO:0000031", 1, float64(i+2)), intensityArray(3, 4)))
	}
	group := `<referenceableParamGroupList><referenceableParamGroup id="g">` + cv("MS:1000511", "2") + `</referenceableParamGroup></referenceableParamGroupList><run`
	content := strings.Replace(document(spectrumList(spectra...)+"<!-- <spectrum id=\"no\"> -->"+chromatogramList(traces...)), "<run", group, 1)
	right := func(_ string, _ int, offset int) string { return fmt.Sprint(offset) }
	tests := map[string]struct {
		content string
		rebuilt string // part of the reason; empty when the index is used
	}{
		"right":            {indexed(content, right), ""},
		"no index":         {content, "no index"},
		"off by one":       {indexed(content, func(_ string, _, o int) string { return fmt.Sprint(o + 1) }), "is not at byte"},
		"one wrong":        {indexed(content, func(_ string, i, o int) string { return fmt.Sprint(o + i/4) }), "is not at byte"},
		"of another":       {indexed(content, func(_ string, i, o int) string { return fmt.Sprint(strings.Index(content, "<spectrum ")) }), "is not at byte"},
		"overflow":         {indexed(content, func(string, int, int) string { return "18446744073709551615" }), "offset"},
		"beyond the end":   {indexed(content, func(string, int, int) string { return "999999" }), "offset"},
		"negative":         {indexed(content, func(string, int, int) string { return "-1" }), "offset"},
		"first missing":    {indexed(content, func(_ string, i, o int) string { return orNone(i > 0, o) }), "where the index has"},
		"last missing":     {indexed(content, func(_ string, i, o int) string { return orNone(i < 4, o) }), "does not end where"},
		"no spectra":       {indexed(content, func(l string, _, o int) string { return orNone(l != "spectrum", o) }), "does not know"},
		"no chromatograms": {indexed(content, func(l string, _, o int) string { return orNone(l == "spectrum", o) }), "does not know"},
		"empty":            {indexed(content, func(string, int, int) string { return "" }), "does not know"},
		"place overflows":  {regexp.MustCompile(`<indexListOffset>\d+`).ReplaceAllString(indexed(content, right), "<indexListOffset>99999999999999999999"), "is said to be at"},
		"place wrong":      {regexp.MustCompile(`<indexListOffset>\d+`).ReplaceAllString(indexed(content, right), "<indexListOffset>12"), "no index is at"},
		"Latin":            {indexed(strings.NewReplacer("run 1", "run \xe9", "UTF-8", "latin1").Replace(content), right), ""},
		"one byte more":    {strings.Replace(indexed(content, right), "<?xml ", "<?xml  ", 1), "no index is at"},
		"prefixed":         {strings.NewReplacer("<!--", "<!--", "<?", "<?", "</", "</m:", "xmlns=", "xmlns:m=", "<", "<m:").Replace(content), "no index"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			x, err := OpenIndex(t.Context(), strings.NewReader(tt.content), int64(len(tt.content)), parsers.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if x.Rebuilt() == "" != (tt.rebuilt == "") || !strings.Contains(x.Rebuilt(), tt.rebuilt) {
				t.Errorf("rebuilt %q, want %q", x.Rebuilt(), tt.rebuilt)
			}
			sameAsRead(t, x, []byte(tt.content))
			if len(x.Spectra()) != 5 || len(x.Chromatograms()) != 2 {
				t.Errorf("%v %v", x.Spectra(), x.Chromatograms())
			}
			if i, ok := x.FindSpectrum("scan=3"); !ok || i != 2 {
				t.Errorf("scan=3 is found: %v, %d", ok, i)
			}
			if i, ok := x.FindChromatogram("trace 1"); !ok || i != 1 {
				t.Errorf("trace 1 is found: %v, %d", ok, i)
			}
			if _, ok := x.FindSpectrum("no"); ok {
				t.Error("an element in a comment is found")
			}
			if _, _, err := x.Spectrum(t.Context(), 5); err == nil {
				t.Error("spectrum 5 of 5 is read")
			}
		})
	}
}

func orNone(given bool, offset int) string {
	if !given {
		return ""
	}
	return fmt.Sprint(offset)
}

// sameAsRead compares what random access gives with what reading from the start gives.
func sameAsRead(t *testing.T, x *Index, content []byte) {
	t.Helper()
	all, _, err := read(content, parsers.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Spectra()) != len(all.spectra) || len(x.Chromatograms()) != len(all.traces) {
		t.Fatalf("%d and %d entries for %d spectra and %d chromatograms", len(x.Spectra()), len(x.Chromatograms()), len(all.spectra), len(all.traces))
	}
	if !reflect.DeepEqual(x.Header(), *all.header) {
		t.Errorf("header %+v, want %+v", x.Header(), *all.header)
	}
	some := max(1, len(all.spectra)/20)
	for i, want := range slices.Backward(all.spectra) {
		if i%some != 0 {
			continue
		}
		got, _, err := x.Spectrum(t.Context(), i)
		if err != nil {
			t.Fatal(err)
		}
		if fmt.Sprintf("%+v", *got) != fmt.Sprintf("%+v", want) {
			t.Fatalf("spectrum %d: %+v, want %+v", i, *got, want)
		}
	}
	for i, want := range slices.Backward(all.traces) {
		got, _, err := x.Chromatogram(t.Context(), i)
		if err != nil {
			t.Fatal(err)
		}
		if fmt.Sprintf("%+v", *got) != fmt.Sprintf("%+v", want) {
			t.Fatalf("chromatogram %d: %+v, want %+v", i, *got, want)
		}
	}
}

func TestIndexRefused(t *testing.T) {
	content := document(spectrumList(spectrumElement(0, 1, "", mzArray(1), intensityArray(1))))
	for name, tt := range map[string]struct {
		content string
		code    string
	}{
		"cut":      {content[:len(content)-10], CodeTruncated},
		"draft":    {strings.Replace(content, "1.1.0", "0.99", 1), CodeVersion},
		"document": {"<!DOCTYPE x>" + content, CodeSyntax},
		"empty":    {"", CodeEmpty},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := OpenIndex(t.Context(), strings.NewReader(tt.content), int64(len(tt.content)), parsers.Options{})
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != tt.code && name != "document" {
				t.Errorf("%v, want a refusal %s", err, tt.code)
			}
		})
	}
	utf16 := wide("\ufeff" + strings.Replace(content, "UTF-8", "UTF-16", 1))
	if _, err := OpenIndex(t.Context(), strings.NewReader(utf16), int64(len(utf16)), parsers.Options{}); !errors.Is(err, ErrNoRandomAccess) {
		t.Errorf("UTF-16 gives %v", err)
	}
}

// Every file of the corpus that can be read gives the same through its index.
func TestIndexCorpus(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(corpus(t), "dev", "*"))
	if err != nil {
		t.Fatal(err)
	}
	used := 0
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			content, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			x, err := OpenIndex(t.Context(), bytes.NewReader(content), int64(len(content)), parsers.Options{})
			if _, _, refused := read(content, parsers.Limits{}); refused != nil || errors.Is(err, ErrNoRandomAccess) {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if x.Rebuilt() == "" {
				used++
			}
			t.Logf("rebuilt: %q", x.Rebuilt())
			sameAsRead(t, x, content)
		})
	}
	if used == 0 {
		t.Error("no index of the corpus proves right")
	}
}
