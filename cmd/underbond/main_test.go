package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// ran is what came of a command.
type ran struct {
	code     int
	out, err string
}

func runs(t *testing.T, args ...string) ran {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), args, streams{strings.NewReader(""), &out, &errs})
	return ran{code, out.String(), errs.String()}
}

// golden compares with a file of testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: got\n%s\nwant\n%s", name, got, want)
	}
}

func write(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func read(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func commandNames(t *testing.T) []string {
	t.Helper()
	parser, err := newParser(streams{}, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, command := range parser.Model.Leaves(true) {
		names = append(names, command.Name)
	}
	if len(names) == 0 {
		t.Fatal("no commands")
	}
	return names
}

func TestHelp(t *testing.T) {
	top := runs(t, "--help")
	if bare := runs(t); bare != top || top.code != exitOK || top.err != "" {
		t.Errorf("without arguments %+v, with --help %+v", bare, top)
	}
	for _, name := range commandNames(t) {
		t.Run(name, func(t *testing.T) {
			if !strings.Contains(top.out, "\n  "+name+" ") {
				t.Errorf("--help does not list the command:\n%s", top.out)
			}
			r := runs(t, name, "--help")
			if r.code != exitOK || r.err != "" || !strings.HasPrefix(r.out, "Usage: underbond "+name) {
				t.Errorf("%+v", r)
			}
		})
	}
}

func TestMistakesOnTheCommandLine(t *testing.T) {
	cases := map[string]struct {
		args []string
		says string
	}{
		"unknown command":             {[]string{"nonsense"}, "nonsense"},
		"unknown flag":                {[]string{"version", "--jsn"}, "--jsn"},
		"inspect without files":       {[]string{"inspect"}, "<files>"},
		"inspect, unknown zone":       {[]string{"inspect", "--zone", "Europe/Ostel", "testdata/batch/peaks.csv"}, "Europe/Berlin"},
		"inspect, unknown code page":  {[]string{"inspect", "--encoding", "latin", "testdata/batch/peaks.csv"}, "windows-1252"},
		"inspect, no profile there":   {[]string{"inspect", "--profile", "testdata/absent.yaml", "testdata/batch/peaks.csv"}, "absent.yaml"},
		"check without files":         {[]string{"check"}, "<files>"},
		"evaluate without anything":   {[]string{"evaluate"}, "--inputs"},
		"evaluate without exports":    {[]string{"evaluate", "-m", "testdata/batch/methanol.yaml"}, "--inputs"},
		"evaluate, no method there":   {[]string{"evaluate", "-m", "testdata/absent.yaml", "testdata/batch/peaks.csv"}, "absent.yaml"},
		"evaluate, inputs and method": {[]string{"evaluate", "--inputs", "testdata/batch/peaks.csv", "-m", "testdata/batch/methanol.yaml"}, "stands alone"},
		"evaluate, unknown zone":      {[]string{"evaluate", "-m", "testdata/batch/methanol.yaml", "--zone", "Mars", "testdata/batch/peaks.csv"}, "Mars"},
		"serve without configuration": {[]string{"serve"}, "--config"},
		"unknown shell":               {[]string{"completion", "csh"}, "bash"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r := runs(t, c.args...)
			if r.code != exitUsage || r.out != "" || !strings.Contains(r.err, c.says) {
				t.Errorf("%+v", r)
			}
		})
	}
}

func TestConfigurationFaultsStopServeAndMigrate(t *testing.T) {
	path := write(t, "underbond.yaml", "folders:\n  - {name: gc-1, path: x, instrument: GC-1, zone: UTC}\nwatch:\n  quite: 10s\n")
	for _, command := range []string{"serve", "migrate"} {
		t.Run(command, func(t *testing.T) {
			r := runs(t, command, "-c", path)
			if r.code != exitFailed || !strings.Contains(r.err, path+`:4:3: unknown key "quite" in watch`) || !strings.Contains(r.err, `did you mean "quiet"?`) {
				t.Errorf("%+v", r)
			}
		})
	}
}

func TestVersion(t *testing.T) {
	r := runs(t, "version")
	if r.code != exitOK || !strings.HasPrefix(r.out, "underbond "+build()+", engine ") {
		t.Errorf("%+v", r)
	}
	var got map[string]string
	if err := json.Unmarshal([]byte(runs(t, "version", "--json").out), &got); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"version", "engine", "go", "platform"} {
		if got[key] == "" {
			t.Errorf("%s is missing in %v", key, got)
		}
	}
}
