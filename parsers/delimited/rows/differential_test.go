package rows

import (
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// job is one text for the reference reader.
type job struct {
	Text      string `json:"text"`
	Delimiter string `json:"delimiter"`
	Quoted    bool   `json:"quoted"`
}

// reference reads texts with Python's csv module. ok is false for a text that it refuses.
func reference(t *testing.T, jobs []job) (tables [][][]string, ok []bool) {
	t.Helper()
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("the reference reader needs python3, which is not installed")
	}
	in, err := json.Marshal(jobs)
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(python, "testdata/rows.py")
	command.Stdin = bytes.NewReader(in)
	var complaint bytes.Buffer
	command.Stderr = &complaint
	out, err := command.Output()
	if err != nil {
		t.Fatalf("reference reader: %v\n%s", err, complaint.String())
	}
	var answers []json.RawMessage
	if err := json.Unmarshal(out, &answers); err != nil || len(answers) != len(jobs) {
		t.Fatalf("%d answers, %v", len(answers), err)
	}
	for _, answer := range answers {
		var table [][]string
		accepted := answer[0] == '['
		if accepted {
			if err := json.Unmarshal(answer, &table); err != nil {
				t.Fatal(err)
			}
		}
		tables, ok = append(tables, table), append(ok, accepted)
	}
	return tables, ok
}

// pieces are what random texts are made of.
var pieces = []string{"a", "b c", "1.5", "é", "\u00a0", "'", " ", ",", ",", ";", "\t", "\n", "\n", "\r\n", "\"", "\"\"", "\"q,\nq\"", ",\"x\"\"y\",", "\"\r\n\"", "\r", "", "#"}

// randomTexts gives texts of three kinds: any pieces, tables written as they should be,
// and such tables with one byte changed.
func randomTexts(n int) []job {
	random := rand.New(rand.NewPCG(3, 4))
	var jobs []job
	for i := range n {
		j := job{Delimiter: []string{",", ";", "\t", "|"}[random.IntN(4)], Quoted: random.IntN(8) > 0}
		var b strings.Builder
		if i%3 == 0 {
			for range random.IntN(12) {
				b.WriteString(pieces[random.IntN(len(pieces))])
			}
			j.Text = b.String()
			jobs = append(jobs, j)
			continue
		}
		end := []string{"\n", "\r\n"}[random.IntN(2)]
		for range 1 + random.IntN(4) {
			for k := range 1 + random.IntN(4) {
				if k > 0 {
					b.WriteString(j.Delimiter)
				}
				cell := ""
				for range random.IntN(3) {
					cell += pieces[random.IntN(len(pieces))]
				}
				if cell = strings.ReplaceAll(cell, "\r", ""); j.Quoted && strings.ContainsAny(cell, j.Delimiter+"\"\n") {
					cell = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
				}
				b.WriteString(cell)
			}
			b.WriteString(end)
		}
		j.Text = b.String()
		if i%3 == 2 {
			runes := []rune(j.Text)
			runes[random.IntN(len(runes))] = []rune("\",\n\r;a")[random.IntN(6)]
			j.Text = string(runes)
		}
		jobs = append(jobs, j)
	}
	return jobs
}

// TestAgreesWithReference: a text that both readers take has the same cells, and none
// is taken that the reference refuses. What only the reference takes is listed: lone
// and mixed line ends, and quotes where RFC 4180 has none.
func TestAgreesWithReference(t *testing.T) {
	jobs := randomTexts(6000)
	tables, accepted := reference(t, jobs)
	same, both, stricter := 0, 0, map[string]int{}
	for i, j := range jobs {
		got, err := all(strings.NewReader(j.Text), Options{Delimiter: j.Delimiter[0], Unquoted: !j.Quoted})
		var fault *Fault
		switch {
		case err != nil && !errors.As(err, &fault):
			t.Fatal(err)
		case err != nil && !accepted[i]:
			both++
		case err != nil && (fault.Code == CodeLineEnd && strings.Contains(j.Text, "\r") || fault.Code == CodeQuote && j.Quoted && strings.Contains(j.Text, `"`)):
			stricter[fault.Code]++
		case err != nil:
			t.Errorf("%q with %q: %v, and the reference reads %q", j.Text, j.Delimiter, err, tables[i])
		case !accepted[i]:
			t.Errorf("%q with %q: read as %q, and the reference refuses it", j.Text, j.Delimiter, got)
		case !slices.EqualFunc(got, tables[i], slices.Equal):
			t.Errorf("%q with %q: read as %q, by the reference as %q", j.Text, j.Delimiter, got, tables[i])
		default:
			same++
		}
	}
	t.Logf("%d texts: %d with the same cells, %d refused by both, refused here only: %v", len(jobs), same, both, stricter)
	if same < len(jobs)/4 {
		t.Error("too few texts that both take: the comparison shows too little")
	}
}
