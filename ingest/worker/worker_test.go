package worker

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"strings"
	"testing"
	"time"

	"underbond/ingest/custody"
	"underbond/parsers"
)

const spectrum = `##TITLE=OC-001 (invented)
##JCAMP-DX=5.01
##DATA TYPE=UV/VIS SPECTRUM
##XUNITS=NANOMETERS
##YUNITS=ABSORBANCE
##FIRSTX=400
##LASTX=430
##NPOINTS=4
##XFACTOR=1
##YFACTOR=0.001
##XYDATA=(X++(Y..Y))
400 500 400 300 250
##END=
`

type source struct{ *bytes.Reader }

func (source) Close() error { return nil }

func report(t *testing.T, content string, format string) Report {
	t.Helper()
	r, err := Read(context.Background(), Job{Hash: custody.HashOf([]byte(content)), Root: "uv", File: "day/a.dx", Format: format, Zone: time.UTC},
		source{bytes.NewReader([]byte(content))}, int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func gzipped(content string) string {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write([]byte(content)) // a buffer takes everything
	_ = z.Close()
	return b.String()
}

func zipped(t *testing.T, members ...string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(members); i += 2 {
		w, err := z.Create(members[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(members[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestKeysAreUnique(t *testing.T) {
	for name, c := range map[string]struct {
		content string
		keys    string
	}{
		"one block":        {spectrum, "uv/day/a.dx"},
		"two blocks":       {spectrum + spectrum, "uv/day/a.dx uv/day/a.dx#2"},
		"gzip":             {gzipped(spectrum + spectrum), "uv/day/a.dx uv/day/a.dx#2"},
		"zip of one":       {zipped(t, "m.dx", spectrum+spectrum), "uv/day/a.dx uv/day/a.dx#2"},
		"zip of two":       {zipped(t, "m.dx", spectrum+spectrum, "d/n.dx", spectrum), "uv/day/a.dx!m.dx uv/day/a.dx!m.dx#2 uv/day/a.dx!d/n.dx"},
		"zip of two, wild": {zipped(t, "m.dx", spectrum, "n\x01.dx", spectrum), `uv/day/a.dx!m.dx uv/day/a.dx!n\x01.dx`},
	} {
		for _, format := range []string{"auto", parsers.FormatJCAMPDX} {
			t.Run(name+", "+format, func(t *testing.T) {
				r := report(t, c.content, format)
				var keys []string
				for i, a := range r.Acquisitions {
					keys = append(keys, a.Key)
					if a.Record != i+1 || a.Header.Record != i+1 || a.Digest.IsZero() {
						t.Errorf("acquisition %d: record %d, digest %s", i, a.Record, a.Digest)
					}
				}
				if got := strings.Join(keys, " "); got != c.keys {
					t.Errorf("%v: got %q, want %q", r.Refusal, got, c.keys)
				}
			})
		}
	}
}

func TestCompressionDoesNotChangeTheDigest(t *testing.T) {
	plain, packed := report(t, spectrum, "auto"), report(t, gzipped(spectrum), "auto")
	if plain.Acquisitions[0].Digest != packed.Acquisitions[0].Digest {
		t.Error("the same data has two digests")
	}
}

func TestRefusalsAndWaits(t *testing.T) {
	cut := strings.TrimSuffix(spectrum, "##END=\n")
	for name, c := range map[string]struct {
		content, code, element string
		wait                   bool
	}{
		"cut":                   {content: cut, code: "incomplete"},
		"gzip of cut data":      {content: gzipped(cut), code: "incomplete"},
		"gzip, cut":             {content: gzipped(spectrum)[:60], code: "compressed-cut"},
		"zip, one member cut":   {content: zipped(t, "a", spectrum, "b", cut), code: "incomplete", element: "b"},
		"zip, one unknown":      {content: zipped(t, "a", spectrum, "b", "\x00\x01"), code: "unknown-format", element: "b"},
		"zip, one without end":  {content: zipped(t, "a", spectrum, "b", "Vial;Area\n"), wait: true},
		"unknown, binary":       {content: "\x00\x01", code: "unknown-format"},
		"unknown, text":         {content: "Vial;Area\n1;2\n", wait: true},
		"gzip of unknown, text": {content: gzipped("Vial;Area\n1;2\n"), wait: true},
		"zip, nested":           {content: zipped(t, "a.gz", gzipped(spectrum)), code: "compressed-nested"},
		"zip, leads out":        {content: zipped(t, "../a.dx", spectrum), code: "compressed-name", element: "../a.dx"},
	} {
		t.Run(name, func(t *testing.T) {
			r := report(t, c.content, "auto")
			if (r.Wait != "") != c.wait || len(r.Acquisitions) > 0 {
				t.Fatalf("wait %q, %d acquisitions", r.Wait, len(r.Acquisitions))
			}
			if c.wait {
				return
			}
			if r.Refusal == nil || r.Refusal.Code != c.code || r.Refusal.Where.Element != c.element {
				t.Errorf("got %v", r.Refusal)
			}
		})
	}
}
