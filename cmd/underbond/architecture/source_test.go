package architecture

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// module is the import path of the project.
const module = "underbond"

// file is one Go file of the project, whatever its build constraints.
type file struct {
	name    string // from the root, with slashes
	text    []byte
	syntax  *ast.File
	imports []string
}

func (f *file) isTest() bool { return strings.HasSuffix(f.name, "_test.go") }

// source is the project as it lies on the disk.
type source struct {
	root     string
	set      *token.FileSet
	files    []*file
	packages map[string][]*file // folder from the root: its files, tests left out
}

// load reads all Go files once.
func load(t *testing.T) *source {
	t.Helper()
	s := &source{root: root(t), set: token.NewFileSet(), packages: map[string][]*file{}}
	err := filepath.WalkDir(s.root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == "testdata" || name != s.root && strings.HasPrefix(d.Name(), ".") {
				// Demo data has one Go file that embeds it; other test data has none to check.
				if filepath.Dir(name) != s.root || d.Name() != "testdata" {
					return fs.SkipDir
				}
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") {
			return nil
		}
		return s.add(name)
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.files) < 100 || len(s.packages) < 20 {
		t.Fatalf("only %d files in %d packages were found below %s", len(s.files), len(s.packages), s.root)
	}
	return s
}

func (s *source) add(name string) error {
	rel, err := filepath.Rel(s.root, name)
	if err != nil {
		return err
	}
	f := &file{name: filepath.ToSlash(rel)}
	if f.text, err = os.ReadFile(name); err != nil {
		return err
	}
	if f.syntax, err = parser.ParseFile(s.set, name, f.text, parser.ParseComments|parser.SkipObjectResolution); err != nil {
		return err
	}
	for _, spec := range f.syntax.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return err
		}
		f.imports = append(f.imports, imported)
	}
	s.files = append(s.files, f)
	if !f.isTest() {
		dir := path.Dir(f.name)
		s.packages[dir] = append(s.packages[dir], f)
	}
	return nil
}

// imports lists what the package in dir imports, each once.
func (s *source) imports(dir string) []string {
	var all []string
	for _, f := range s.packages[dir] {
		all = append(all, f.imports...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// root finds the folder with go.mod.
func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			t.Fatal("no go.mod above the working directory")
		}
		dir = parent
	}
}

// matches tells whether a folder fits a pattern: itself, or "x/**" for x and all below,
// or "x/*" for what lies below x.
func matches(pattern, dir string) bool {
	if base, ok := strings.CutSuffix(pattern, "/**"); ok {
		return dir == base || strings.HasPrefix(dir, base+"/")
	}
	if base, ok := strings.CutSuffix(pattern, "/*"); ok {
		return strings.HasPrefix(dir, base+"/")
	}
	return dir == pattern
}
