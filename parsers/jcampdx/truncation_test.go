package jcampdx

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"underbond/parsers"
)

// TestTruncationIsNeverSilent cuts files at every byte (small files) or at many
// places, and demands that the cut shows: the end proof fails and reading is refused,
// unless the cut took nothing but the end of the last label, or fell between two
// blocks that nothing joins.
func TestTruncationIsNeverSilent(t *testing.T) {
	contents := map[string][]byte{
		"one block":  []byte(spectrumFile(fourLabels, fourTable)),
		"difference": file(encode(tableVI, difdup, 20), len(tableVI)),
		"link":       []byte("##TITLE=l\n##DATA TYPE=LINK\n##BLOCKS=2\n" + strings.Repeat(spectrumFile(fourLabels, fourTable), 2) + "##END=\n"),
		"pairs":      []byte(spectrumFile("", "##PEAK TABLE=(XY..XY)\n1 2\n3 4\n")),
		"pages":      []byte(pagesFile),
	}
	for name, content := range contents {
		t.Run(name, func(t *testing.T) { cutEverywhere(t, content, 1) })
	}
	t.Run("corpus", func(t *testing.T) {
		dir := filepath.Join(sharedFolder(t, "corpus/jcampdx"), "dev")
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			content, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				t.Fatal(err)
			}
			if len(content) > 8<<10 {
				continue
			}
			t.Run(e.Name(), func(t *testing.T) { cutEverywhere(t, content, max(1, len(content)/60)) })
		}
	})
}

func cutEverywhere(t *testing.T, content []byte, stride int) {
	t.Helper()
	opt := parsers.Options{Encoding: "windows-1252"}
	for n := 0; n < len(content); n += stride {
		cut := content[:n]
		proof, why, err := New().EndProof(bytes.NewReader(cut), int64(n))
		if err != nil {
			t.Fatal(err)
		}
		_, problems, err := readAll(t, cut, opt)
		refusal := refusalCode(err)
		if proof == parsers.EndProofFailed {
			if why == "" || refusal == "" && err == nil {
				t.Errorf("cut at %d: the end proof fails (%q), but reading is not refused", n, why)
			}
			continue
		}
		lost := string(bytes.TrimLeft(content[n:], "=\r\n"))
		if i := bytes.LastIndex(cut, []byte("##END=")); i >= 0 && !bytes.ContainsAny(cut[i:], "\r\n") {
			_, lost, _ = strings.Cut(lost, "\n") // the rest of the end line is a comment
		}
		if refusal != "" || len(problems) > 0 || harmless(lost) {
			continue
		}
		t.Errorf("cut at %d reads as whole; lost %.40q", n, lost)
	}
}

// harmless reports that what was cut off is no data of the blocks before.
func harmless(lost string) bool {
	for line := range strings.Lines(lost) {
		if line := stripComment([]byte(strings.TrimRight(line, "\r\n"))); !isTail(line) {
			l, ok := parseLabel(line)
			return ok && l.norm == "TITLE"
		}
	}
	return true
}
