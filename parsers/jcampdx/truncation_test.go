package jcampdx

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

// TestTruncationIsNeverSilent cuts hand-made files at every byte and those of the corpus
// at many places, and demands that the cut shows: the end proof fails and reading is
// refused, or a problem tells that the whole file does not have. What may pass is a cut that
// takes nothing but the end of the last label, or falls between two blocks that nothing joins.
func TestTruncationIsNeverSilent(t *testing.T) {
	contents := map[string][]byte{
		"one block":  []byte(spectrumFile(fourLabels, fourTable)),
		"difference": file(encode(tableVI, difdup, 20), len(tableVI)),
		"link":       []byte("##TITLE=l\n##DATA TYPE=LINK\n##BLOCKS=2\n" + strings.Repeat(spectrumFile(fourLabels, fourTable), 2) + "##END=\n"),
		"pairs":      []byte(spectrumFile("", "##PEAK TABLE=(XY..XY)\n1 2\n3 4\n")),
		"pages":      []byte(pagesFile),
	}
	for name, content := range contents {
		t.Run(name, func(t *testing.T) {
			places := make([]int, len(content))
			for i := range places {
				places[i] = i
			}
			cutAt(t, content, places)
		})
	}
	t.Run("corpus", func(t *testing.T) {
		dir := filepath.Join(parserstest.Shared(t, "corpus/jcampdx"), "dev")
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		cuts := 200
		if testing.Short() {
			cuts = 8
		}
		random := rand.New(rand.NewPCG(1, 2))
		for _, e := range entries {
			content, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				t.Fatal(err)
			}
			places := []int{len(content) - 1}
			for len(places) < min(cuts, len(content)) {
				places = append(places, random.IntN(len(content)))
			}
			t.Run(e.Name(), func(t *testing.T) { cutAt(t, content, places) })
		}
	})
}

func cutAt(t *testing.T, content []byte, places []int) {
	t.Helper()
	opt := parsers.Options{Encoding: "windows-1252"}
	usual := map[string]bool{} // what is wrong with the whole file
	_, problems, err := readAll(t, content, opt)
	for _, p := range problems {
		usual[p.String()] = true
	}
	if code := refusalCode(err); err != nil && code == "" {
		t.Fatal(err)
	}
	for _, n := range places {
		cut := content[:n]
		proof, why, err := New().EndProof(bytes.NewReader(cut), int64(n))
		if err != nil {
			t.Fatal(err)
		}
		_, problems, err := readAll(t, cut, opt)
		refusal := refusalCode(err)
		if proof == parsers.EndProofFailed {
			if why == "" || refusal == "" {
				t.Errorf("cut at %d: the end proof fails (%q), but reading gives %v", n, why, err)
			}
			continue
		}
		told := slices.ContainsFunc(problems, func(p parsers.Problem) bool { return !usual[p.String()] })
		lost := string(bytes.TrimLeft(content[n:], "=\r\n"))
		if l, ok := parseLabel(cut[bytes.LastIndexAny(cut, "\r\n")+1:]); ok && l.norm == "END" {
			_, lost, _ = strings.Cut(lost, "\n") // the rest of the end line is a comment
		}
		if refusal == "" && !told && !harmless(lost) {
			t.Errorf("cut at %d reads as whole; lost %.40q", n, lost)
		}
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
