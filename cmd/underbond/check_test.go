package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestCheckGood(t *testing.T) {
	for file, says := range map[string]string{
		"testdata/batch/methanol.yaml":           "method methanol-test version 1, no faults",
		"testdata/batch/peaks.yaml":              "profile peaks version 1, no faults",
		"testdata/batch/worklist.csv":            "worklist T-1 version 1, no faults",
		"testdata/batch/samples.csv":             "register test-register version 1, no faults",
		"testdata/batch/standards.csv":           "standards test-standards version 1, no faults",
		"config/testdata/underbond.example.yaml": "configuration, no faults",
	} {
		t.Run(filepath.Base(file), func(t *testing.T) {
			if r := runs(t, "check", file); r != (ran{exitOK, file + ": " + says + "\n", ""}) {
				t.Errorf("%+v", r)
			}
		})
	}
}

// TestCheckDemo keeps the shipped documents free of faults.
func TestCheckDemo(t *testing.T) {
	files, err := filepath.Glob("../../testdata/demo/*/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	if r := runs(t, append([]string{"check"}, files...)...); r.code != exitOK || strings.Count(r.out, "no faults\n") != len(files) {
		t.Errorf("%+v", r)
	}
}

func TestCheckBad(t *testing.T) {
	cases := map[string]struct {
		content string
		where   string
		says    string
	}{
		"empty.yaml":    {"", "", "not a document"},
		"unknown.yaml":  {"a: 1\n", ":1:1: ", "does not say what it is"},
		"kind.yaml":     {"kind: methd\n", ":1:1: ", "methd"},
		"method.yaml":   {strings.Replace(read(t, "testdata/batch/methanol.yaml"), "loq: 30", "loqq: 30", 1), ":26:5: ", `did you mean "loq"?`},
		"analyte.yaml":  {strings.Replace(read(t, "testdata/batch/methanol.yaml"), "- name: methanol\n", "- name: methanoll\n", 1), ":19:5: ", "nearest: methanol"},
		"profile.yaml":  {strings.Replace(read(t, "testdata/batch/peaks.yaml"), "shape: long", "shape: tall", 1), ":16:1: ", "tall"},
		"worklist.csv":  {strings.Replace(read(t, "testdata/batch/worklist.csv"), "method blank", "blank", 1), ":7:22: ", "blank"},
		"register.csv":  {strings.Replace(read(t, "testdata/batch/samples.csv"), "category", "categry", 1), ":2:15: ", `did you mean "category"?`},
		"standards.csv": {strings.Replace(read(t, "testdata/batch/standards.csv"), "200,mg/L", "200 mg,mg/L", 1), ":3:", "200 mg"},
		"conf.yaml":     {"folders: [{name: a, path: b, instrument: C, zone: UTC, polling: true}]\n", ":1:56: ", "polling"},
	}
	for file, c := range cases {
		t.Run(file, func(t *testing.T) {
			path := write(t, file, c.content)
			r := runs(t, "check", path)
			if r.code != exitFailed || r.out != "" || !strings.Contains(r.err, path+c.where) || !strings.Contains(r.err, c.says) {
				t.Errorf("%+v", r)
			}
			var got checked
			r = runs(t, "check", "--json", path)
			if err := json.Unmarshal([]byte(r.out), &got); err != nil {
				t.Fatal(err)
			}
			if r.code != exitFailed || r.err != "" || got.File != path || got.OK || len(got.Faults) == 0 {
				t.Fatalf("%+v", r)
			}
			if f := got.Faults[0]; c.where != "" && (f.Line == 0 || f.Column == 0) || f.Message == "" {
				t.Errorf("fault %+v", f)
			}
		})
	}
}

func TestCheckJSON(t *testing.T) {
	r := runs(t, "check", "--json", "testdata/batch/peaks.yaml", "config/testdata/bad/log.yaml")
	const want = `{"file":"testdata/batch/peaks.yaml","kind":"profile","name":"peaks","version":"1","ok":true,"faults":[]}
{"file":"config/testdata/bad/log.yaml","kind":"configuration","ok":false,"faults":[{"line":4,"column":3,"message":"log.level is \"warning\"","hint":"allowed: debug, info, warn, error"},{"line":5,"column":3,"message":"log.format is \"text\"","hint":"allowed: json, console"}]}
`
	if r != (ran{exitFailed, want, ""}) {
		t.Errorf("%+v", r)
	}
}

func TestCheckGoesOnAfterAFault(t *testing.T) {
	r := runs(t, "check", filepath.Join(t.TempDir(), "absent.yaml"), "testdata/batch/peaks.yaml")
	if r.code != exitFailed || !strings.Contains(r.err, "absent.yaml") || !strings.Contains(r.out, "peaks version 1") {
		t.Errorf("%+v", r)
	}
}

func TestTerminalIsSafe(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a\x1b[2J.yaml")
	if err := os.WriteFile(path, []byte(read(t, "testdata/batch/peaks.yaml")), 0o600); err != nil {
		t.Skipf("no such names here: %v", err)
	}
	if r := runs(t, "check", path); r.code != exitOK || strings.Contains(r.out, "\x1b") {
		t.Errorf("%q", r.out)
	}
	if r := runs(t, "inspect", path); strings.Contains(r.out, "\x1b") {
		t.Errorf("%q", r.out)
	}
}
