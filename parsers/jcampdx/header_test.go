package jcampdx

import (
	"strings"
	"testing"

	"underbond/parsers"
)

// fieldsOf gives the fields of the first acquisition, each as name=text.
func fieldsOf(t *testing.T, content string) []string {
	t.Helper()
	got, problems, err := readAll(t, []byte(content), parsers.Options{})
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	var out []string
	for _, f := range got[0].header.Fields {
		out = append(out, f.Name+"="+f.Text)
	}
	return out
}

func TestLabelsAreKept(t *testing.T) {
	for name, c := range map[string]struct{ labels, want string }{
		"continued string":       {"##ORIGIN=County labo=\nratory,=\n Room 2\n", "ORIGIN=County laboratory,Room 2"},
		"continued and comment":  {"##ORIGIN=County labo= $$ a comment\nratory\n", "ORIGIN=County laboratory"},
		"two lines":              {"##ORIGIN=County\nlaboratory\n", "ORIGIN=County\nlaboratory"},
		"ends with equals":       {"##$KEY=YQ==\n", "$KEY=YQ=="},
		"equals inside":          {"##ORIGIN=a=b\n", "ORIGIN=a=b"},
		"audit trail":            {"##AUDIT TRAIL= $$ (NUMBER, WHEN, WHO, WHERE, PROCESS, WHAT)\n(1,<2024-03-05 07:08>,<A. N. Alyst>,<County>,<scan>,\n<first line\nsecond line>)\n", "AUDIT TRAIL=(1,<2024-03-05 07:08>,<A. N. Alyst>,<County>,<scan>,\n<first line\nsecond line>)"},
		"observe labels":         {"##.OBSERVE FREQUENCY= 400.13\n##.OBSERVE_NUCLEUS= ^1H\n", ".OBSERVE FREQUENCY=400.13 .OBSERVE_NUCLEUS=^1H"},
		"numbers never continue": {"##RESOLUTION=4\n##DELTAX=10\n", "RESOLUTION=4 DELTAX=10"},
	} {
		t.Run(name, func(t *testing.T) {
			fields := fieldsOf(t, spectrumFile(c.labels+fourLabels, fourTable))
			const before, after = 3, 5 // data type and units; fourLabels
			if got := strings.Join(fields[before:len(fields)-after], " "); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
	t.Run("a number does not continue", func(t *testing.T) {
		_, problems, err := readAll(t, []byte(spectrumFile(fourLabels+"##DELTAX=1=\n0\n", fourTable)), parsers.Options{})
		if err != nil || len(problems) != 1 || problems[0].Code != "jcampdx-header-number" {
			t.Errorf("got %v %v", problems, err)
		}
	})
	t.Run("string of a peak assignment", func(t *testing.T) {
		got, problems, err := readAll(t, []byte(spectrumFile("", "##PEAK ASSIGNMENTS=(XYA)\n(1,2,<car=\nbonyl\nband>)\n")), parsers.Options{})
		if err != nil || len(problems) > 0 {
			t.Fatal(err, problems)
		}
		if text := got[0].tables[0].Rows[0].Cells[2].Text; text != "<carbonyl\nband>" {
			t.Errorf("got %q", text)
		}
	})
}

func TestLabelsOfOuterBlocksAreRepeated(t *testing.T) {
	inner := spectrumFile(fourLabels, fourTable)
	content := "##TITLE=run\n##DATA TYPE=LINK\n##BLOCKS=1\n##OWNER=County\n##TITLE=tray\n##DATA TYPE=LINK\n##BLOCKS=1\n##$TRAY=3\n" + inner + "##END=\n##END=\n"
	got := strings.Join(fieldsOf(t, content), " ")
	const want = "LINK/LINK/TITLE=run LINK/LINK/OWNER=County LINK/TITLE=tray LINK/$TRAY=3 DATA TYPE=INFRARED SPECTRUM "
	if !strings.HasPrefix(got, want) {
		t.Errorf("got %q, want it to start with %q", got, want)
	}
	many := "##TITLE=run\n##DATA TYPE=LINK\n" + strings.Repeat("##$A=1\n", 2*mostOuterFields) + inner + inner + "##END=\n"
	all, problems, err := readAll(t, []byte(many), parsers.Options{})
	if err != nil || len(problems) != 1 || problems[0].Code != "jcampdx-outer-labels" {
		t.Fatalf("got %v %v", problems, err)
	}
	if n := len(all[1].header.Fields); n != mostOuterFields+8 {
		t.Errorf("%d fields", n)
	}
}

func TestStopsBeforeSmallContent(t *testing.T) {
	// The shared conformance test allows a reader to be done with little content.
	ctx, cancel := cancelled()
	defer cancel()
	if _, err := New().Read(ctx, strings.NewReader(spectrumFile(fourLabels, fourTable)), parsers.Options{}, &collector{t: t}); err == nil || refusalCode(err) != "" {
		t.Errorf("got %v", err)
	}
}
