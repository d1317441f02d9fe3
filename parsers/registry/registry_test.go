package registry

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/parsers/jcampdx"
	"underbond/parsers/mzml"
	"underbond/parsers/parserstest"
)

func profile(t *testing.T, name, version, columns string) *delimited.Profile {
	t.Helper()
	text := "kind: profile\nname: " + name + "\nversion: \"" + version + "\"\nencoding: utf-8\ndelimiter: \",\"\ndecimal_mark: \".\"\nshape: wide\nother_columns: ignore\ncolumns:\n"
	for _, c := range strings.Split(columns, " ") {
		text += "  - {name: " + c + ", meaning: " + c + ", type: number}\n"
	}
	p, err := delimited.ParseProfile(name, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const (
	jcamp = "##TITLE=x\n##JCAMP-DX=4.24\n##DATA TYPE=UV/VIS SPECTRUM\n"
	mz    = `<?xml version="1.0" encoding="utf-8"?>` + "\n" + `<mzML xmlns="http://psi.hupo.org/ms/mzml" version="1.1.0">`
)

func TestDetect(t *testing.T) {
	r := New([]*delimited.Profile{profile(t, "two", "1", "a b"), profile(t, "three", "1", "a b c")})
	for name, c := range map[string]struct {
		head, format, profile string
	}{
		"JCAMP-DX":                      {jcamp, parsers.FormatJCAMPDX, ""},
		"mzML":                          {mz, parsers.FormatMzML, ""},
		"the profile with more columns": {"a,b,c\n1,2,3\n", parsers.FormatDelimited, "three"},
		"the only profile that fits":    {"a,b\n1,2\n", parsers.FormatDelimited, "two"},
	} {
		t.Run(name, func(t *testing.T) {
			found, err := r.Detect([]byte(c.head))
			if err != nil || found[0].Format != c.format || found[0].Profile != c.profile || found[0].Reader == nil {
				t.Errorf("got %+v, %v", found, err)
			}
			if !slices.IsSortedFunc(found, func(a, b Match) int { return b.Confidence - a.Confidence }) {
				t.Errorf("not sorted: %+v", found)
			}
		})
	}
}

func TestDetectNothing(t *testing.T) {
	r := New([]*delimited.Profile{profile(t, "two", "1", "a b")})
	found, err := r.Detect([]byte("x,b\n1,2\n"))
	var unknown *UnknownError
	if !errors.As(err, &unknown) || len(unknown.Tried) != 3 || len(found) != 0 {
		t.Fatalf("got %+v, %v", found, err)
	}
	for _, want := range []string{"jcamp-dx: ", "mzml: ", `delimited by profile two: line 1: the header row of profile two lacks "a"`} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not in %s", want, err)
		}
	}
}

func TestDetectAmbiguous(t *testing.T) {
	r := New([]*delimited.Profile{profile(t, "one", "1", "a b"), profile(t, "two", "1", "b c")})
	found, err := r.Detect([]byte("a,b,c\n1,2,3\n"))
	var ambiguous *AmbiguousError
	if !errors.As(err, &ambiguous) || len(ambiguous.Matches) != 2 || len(found) != 2 {
		t.Errorf("got %+v, %v", found, err)
	}
}

func TestReader(t *testing.T) {
	r := New([]*delimited.Profile{profile(t, "two", "1", "a b"), profile(t, "two", "2", "a c")})
	for _, c := range [][2]string{{parsers.FormatJCAMPDX, ""}, {parsers.FormatMzML, ""}, {parsers.FormatDelimited, "two"}} {
		if reader, err := r.Reader(c[0], c[1]); err != nil || reader.Format() != c[0] {
			t.Errorf("%q: %v, %v", c, reader, err)
		}
	}
	reader, err := r.Reader(parsers.FormatDelimited, "two")
	if err != nil || reader.Sniff([]byte("a,c\n")).Confidence == 0 || reader.Sniff([]byte("a,b\n")).Confidence != 0 {
		t.Errorf("the later version does not count: %v", err)
	}
	for _, c := range [][2]string{{parsers.FormatDelimited, ""}, {parsers.FormatDelimited, "three"}, {"xlsx", ""}} {
		if _, err := r.Reader(c[0], c[1]); err == nil || !strings.Contains(err.Error(), "delimited by profile two") {
			t.Errorf("%q: %v", c, err)
		}
	}
}

// corpus gives files of a folder of the shared corpus.
func corpus(t *testing.T, folder string, names ...string) []parserstest.Sample {
	t.Helper()
	from := parserstest.Shared(t, "corpus/"+folder+"/dev")
	var samples []parserstest.Sample
	for _, name := range names {
		data, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			t.Fatal(err)
		}
		samples = append(samples, parserstest.Sample{Name: name, Data: data})
	}
	return samples
}

// formats are the readers that need no profile, with some files each.
func formats(t *testing.T) map[parsers.Reader][]parserstest.Sample {
	t.Helper()
	return map[parsers.Reader][]parserstest.Sample{
		jcampdx.Reader{}: corpus(t, "jcampdx", "syn_comments.dx", "syn_bom_utf8.dx", "uv_xy_04.jdx"),
		mzml.Reader{}:    corpus(t, "mzml", "hand_base.mzML", "hand_indexed_ok.mzML", "gen_enc_npL_npS_zlib.mzML", "oms_gcms.mzML"),
	}
}

func TestConformance(t *testing.T) {
	for reader, samples := range formats(t) {
		t.Run(reader.Format(), func(t *testing.T) { parserstest.Conformance(t, reader, samples) })
	}
}

func TestTruncation(t *testing.T) {
	for reader, samples := range formats(t) {
		t.Run(reader.Format(), func(t *testing.T) { parserstest.Truncation(t, reader, samples) })
	}
}
