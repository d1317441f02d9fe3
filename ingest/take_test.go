package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"strings"
	"testing"

	"underbond/ingest/watch"
	"underbond/parsers"
)

const spectrum = "##TITLE=OC-001 (invented)\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##FIRSTX=1\n##LASTX=2\n##NPOINTS=2\n##XYDATA=(X++(Y..Y))\n1 5 6\n##END=\n"

func gzipped(content string) string {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write([]byte(content)) // a buffer takes everything
	_ = z.Close()
	return b.String()
}

// TestEndProofSeesThroughCompression: the watcher must not take what is still being written.
func TestEndProofSeesThroughCompression(t *testing.T) {
	cut := strings.TrimSuffix(spectrum, "##END=\n")
	for name, c := range map[string]struct {
		content string
		format  string
		proof   watch.Proof
	}{
		"whole":               {spectrum, "auto", watch.ProofHeld},
		"whole, named":        {spectrum, parsers.FormatJCAMPDX, watch.ProofHeld},
		"cut":                 {cut, "auto", watch.ProofFailed},
		"unknown":             {"notes", "auto", watch.ProofNone},
		"unknown name":        {spectrum, "nothing", watch.ProofNone},
		"gzip":                {gzipped(spectrum), "auto", watch.ProofHeld},
		"gzip, named":         {gzipped(spectrum), parsers.FormatJCAMPDX, watch.ProofHeld},
		"gzip of cut data":    {gzipped(cut), "auto", watch.ProofFailed},
		"gzip being written":  {gzipped(spectrum)[:70], "auto", watch.ProofFailed},
		"gzip just begun":     {gzipped(spectrum)[:4], "auto", watch.ProofFailed},
		"gzip of unknown":     {gzipped("notes"), "auto", watch.ProofNone},
		"zip being written":   {"PK\x03\x04" + strings.Repeat("x", 100), "auto", watch.ProofFailed},
		"gzip in gzip":        {gzipped(gzipped(spectrum)), "auto", watch.ProofNone},
		"two gzip, one whole": {gzipped(spectrum) + gzipped(spectrum)[:30], "auto", watch.ProofFailed},
	} {
		t.Run(name, func(t *testing.T) {
			p := &Pipeline{roots: map[string]*Root{"uv": {Holds: "exports", Format: c.format}}}
			proof, why, err := p.EndProof(context.Background(), "uv", "a.dx", strings.NewReader(c.content), int64(len(c.content)))
			if err != nil || proof != c.proof || (why != "") != (proof == watch.ProofFailed) {
				t.Errorf("got %s, %q, %v", proof, why, err)
			}
		})
	}
	t.Run("source fails", func(t *testing.T) {
		p := &Pipeline{}
		boom := errors.New("the share is gone")
		if _, _, err := p.EndProof(context.Background(), "uv", "a.dx", failing{boom}, 100); !errors.Is(err, boom) {
			t.Errorf("got %v", err)
		}
	})
}

type failing struct{ err error }

func (f failing) ReadAt([]byte, int64) (int, error) { return 0, f.err }
