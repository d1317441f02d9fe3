package architecture

import (
	"bytes"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

func TestTopLevel(t *testing.T) {
	names := []string{"cmd", "ingest", "parsers", "qc", "sql", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "docker-compose.yml"}
	// What a build or a demonstration leaves behind; version control ignores it.
	left := []string{"underbond", "underbond.exe", "dist", "underbond-demo"}
	entries, err := os.ReadDir(root(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(names, e.Name()) && !slices.Contains(left, e.Name()) {
			t.Errorf("%s does not belong at the top", e.Name())
		}
	}
}

func TestOneCommentAPackage(t *testing.T) {
	s := load(t)
	for dir, files := range s.packages {
		var with []string
		for _, f := range files {
			if f.syntax.Doc == nil {
				continue
			}
			with = append(with, f.name)
			text := f.syntax.Doc.Text()
			want := "Package " + f.syntax.Name.Name + " "
			if f.syntax.Name.Name == "main" {
				want = "Command " + path.Base(dir) + " "
			}
			if !strings.HasPrefix(strings.ToLower(text), strings.ToLower(want)) {
				t.Errorf("%s: the package comment begins %.40q, not %q", f.name, text, want)
			}
		}
		if len(with) != 1 {
			t.Errorf("%s has %d package comments: %q", dir, len(with), with)
		}
	}
}

func TestPackageNames(t *testing.T) {
	for dir := range load(t).packages {
		if slices.Contains([]string{"util", "utils", "common", "helpers", "helper", "types", "models", "misc", "base", "shared"}, path.Base(dir)) {
			t.Errorf("%s is named for nothing that it holds", dir)
		}
	}
}

// Longest file in lines: beyond that it holds more than one subject.
const longest = 600

func TestFiles(t *testing.T) {
	// Spelled in pieces, so that this file does not find itself.
	unfinished := regexp.MustCompile(`\b(` + strings.Join([]string{"TO" + "DO", "FIX" + "ME", "XX" + "X", "HA" + "CK"}, "|") + `)\b`)
	for _, f := range load(t).files {
		if lines := bytes.Count(f.text, []byte("\n")); lines > longest {
			t.Errorf("%s has %d lines", f.name, lines)
		}
		if found := unfinished.Find(f.text); found != nil {
			t.Errorf("%s says %s", f.name, found)
		}
		if bytes.Contains(f.text, []byte("\r\n")) {
			t.Errorf("%s has Windows line ends", f.name)
		}
	}
}
