package architecture

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

func TestNoCgoOfOurs(t *testing.T) {
	for _, f := range load(t).files {
		if slices.Contains(f.imports, "C") {
			t.Errorf("%s uses cgo", f.name)
		}
	}
}

// TestDaemonNeedsNoCgo asks the go command for everything that the program is built
// from: with cgo allowed no package outside of the standard library uses it, and without
// it nothing is missing.
func TestDaemonNeedsNoCgo(t *testing.T) {
	tool, err := exec.LookPath("go")
	if err != nil {
		t.Skip("needs the go command:", err)
	}
	for name, environment := range map[string][]string{
		"cgo allowed":         {"CGO_ENABLED=1"},
		"cgo off":             {"CGO_ENABLED=0"},
		"cgo off for windows": {"CGO_ENABLED=0", "GOOS=windows", "GOARCH=amd64"},
		"cgo off for macOS":   {"CGO_ENABLED=0", "GOOS=darwin", "GOARCH=arm64"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			count := 0
			for _, p := range dependencies(t, tool, environment) {
				count++
				if !p.Standard && len(p.CgoFiles)+len(p.SwigFiles) > 0 {
					t.Errorf("%s uses cgo: %q", p.ImportPath, p.CgoFiles)
				}
				if p.Error != nil {
					t.Errorf("%s: %s", p.ImportPath, p.Error.Err)
				}
			}
			if count < 100 {
				t.Errorf("only %d packages were listed", count)
			}
		})
	}
}

type listed struct {
	ImportPath          string
	Standard            bool
	CgoFiles, SwigFiles []string
	Error               *struct{ Err string }
}

func dependencies(t *testing.T, tool string, environment []string) []listed {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), tool, "list", "-e", "-deps", "-json=ImportPath,Standard,CgoFiles,SwigFiles,Error", "./cmd/underbond")
	cmd.Dir, cmd.Env = root(t), append(os.Environ(), environment...)
	var complaint strings.Builder
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, complaint.String())
	}
	var list []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			return list
		}
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, p)
	}
}
