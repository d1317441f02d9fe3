package main

import (
	"encoding/json"
	"strings"
	"testing"
)

const proposable = "Run: 7\nVial,Measured,Density [g/cm³],Area\n1,2026-03-02 08:30:00,0.94852,5\n2,2026-03-02 08:35:00,n.d.,6\n"

func TestProfileProposes(t *testing.T) {
	file := write(t, "density run.csv", proposable)
	r := runs(t, "profile", file)
	if r.code != exitOK || !strings.Contains(r.out, "name: density-run\n") || !strings.Contains(r.err, "2 rows of 4 columns: wide shape, utf-8") {
		t.Fatalf("%+v", r)
	}
	// The proposal reads the export, and check has nothing against it.
	profile := write(t, "density.yaml", r.out)
	if r := runs(t, "check", profile); r.code != exitOK {
		t.Errorf("%+v", r)
	}
	r = runs(t, "profile", "--check", profile, file)
	if r.code != exitOK || r.err != "" {
		t.Fatalf("%+v", r)
	}
	for _, want := range []string{"2 acquisition(s), end mark not to be expected", `key "run=7 vial=1"`, "density in g/cm³", "0.94852", "n.d. (not found)"} {
		if !strings.Contains(r.out, want) {
			t.Errorf("%q is not in\n%s", want, r.out)
		}
	}
	if r := runs(t, "inspect", "--profile", profile, file); r.code != exitOK {
		t.Errorf("%+v", r)
	}
}

func TestProfileAsks(t *testing.T) {
	file := write(t, "export.csv", strings.ReplaceAll(proposable, "2026-03-02", "02/03/2026"))
	r := runs(t, "profile", file)
	if r.code != exitOK || !strings.Contains(r.out, "# QUESTION: ") || !strings.Contains(r.err, "QUESTION date_format") || !strings.Contains(r.err, "1 question(s) are open") {
		t.Fatalf("%+v", r)
	}
	profile := write(t, "p.yaml", r.out)
	for _, args := range [][]string{{"check", profile}, {"profile", "--check", profile, file}, {"inspect", "--profile", profile, file}} {
		if r := runs(t, args...); r.code != exitFailed || !strings.Contains(r.err, "date_format") || !strings.Contains(r.err, "p.yaml:") {
			t.Errorf("%q: %+v", args, r)
		}
	}
}

func TestProfileJSON(t *testing.T) {
	file := write(t, "export.csv", proposable)
	var proposal struct {
		Profile struct {
			Shape   string
			Columns []struct{ Name, Meaning, Unit, Type string }
		}
		Decisions, Questions []struct{ Key, Text string }
	}
	r := runs(t, "profile", "--json", "--name", "log", file)
	if err := json.Unmarshal([]byte(r.out), &proposal); err != nil || r.code != exitOK || len(proposal.Profile.Columns) != 4 || len(proposal.Decisions) < 5 || len(proposal.Questions) != 0 {
		t.Errorf("%v: %+v", err, r)
	}
	profile := write(t, "p.yaml", runs(t, "profile", file).out)
	var reading profileReading
	r = runs(t, "profile", "--json", "--check", profile, file)
	if err := json.Unmarshal([]byte(r.out), &reading); err != nil || r.code != exitOK || reading.Acquisitions != 2 || reading.First[0].Header.Vial != "1" || *reading.First[0].Rows[0][2].Value != 0.94852 {
		t.Errorf("%v: %+v", err, r)
	}
}

func TestProfileFails(t *testing.T) {
	good := write(t, "good.csv", proposable)
	profile := write(t, "p.yaml", runs(t, "profile", good).out)
	for name, c := range map[string]struct {
		args  []string
		code  int
		words string
	}{
		"unknown encoding":        {[]string{"profile", write(t, "a.csv", "Vial,Cu [\xb5g/L]\n1,0.5\n")}, exitFailed, "--encoding"},
		"no such encoding":        {[]string{"profile", "--encoding", "latin", good}, exitUsage, "is not one of"},
		"no table":                {[]string{"profile", write(t, "a.csv", "a\nb\n")}, exitFailed, "no table"},
		"no file":                 {[]string{"profile", good + ".not"}, exitFailed, "read the export"},
		"check of another export": {[]string{"profile", "--check", profile, write(t, "a.csv", "a,b\n1,2\n")}, exitFailed, ""},
		"check with a name":       {[]string{"profile", "--check", profile, "--name", "x", good}, exitUsage, "--name"},
	} {
		t.Run(name, func(t *testing.T) {
			if r := runs(t, c.args...); r.code != c.code || !strings.Contains(r.err, c.words) {
				t.Errorf("%+v", r)
			}
		})
	}
	if r := runs(t, "profile", "--check", profile, write(t, "cut.csv", proposable[:len(proposable)-1])); r.code != exitFailed || !strings.Contains(r.out, "may be cut") {
		t.Errorf("%+v", r)
	}
}
