package architecture

import (
	"go/ast"
	"slices"
	"strings"
	"testing"
)

// The pure core takes values and gives values: no clock, no files, no network, no log.
var (
	pure      = []string{"parsers/**", "qc/**"}
	forbidden = []string{"os/**", "net/**", "log/**", "database/**", "math/rand/**", "syscall", "unsafe", "github.com/jackc/**", "github.com/rs/zerolog/**",
		"github.com/fsnotify/**"}
	clocks = []string{"Now", "Since", "Until", "After", "Sleep", "NewTimer", "NewTicker", "Tick", "AfterFunc"}
)

// testSupport is what tests share; it may read files, and only tests import it.
const testSupport = "parsers/parserstest"

func isPure(dir string) bool {
	return dir != testSupport && slices.ContainsFunc(pure, func(p string) bool { return matches(p, dir) })
}

func TestPureCoreImports(t *testing.T) {
	s := load(t)
	seen := 0
	for dir := range s.packages {
		if !isPure(dir) {
			continue
		}
		seen++
		for _, imported := range s.imports(dir) {
			if target, is := ours(imported); is && target == testSupport {
				t.Errorf("%s imports %s, which is for tests", dir, target)
			}
			if slices.ContainsFunc(forbidden, func(f string) bool { return matches(f, imported) }) {
				t.Errorf("%s is pure and imports %s", dir, imported)
			}
		}
	}
	if seen < 10 {
		t.Errorf("only %d pure packages were found", seen)
	}
}

func TestPureCoreHasNoClock(t *testing.T) {
	s := load(t)
	for _, f := range s.files {
		if f.isTest() || !isPure(dirOf(f)) {
			continue
		}
		ast.Inspect(f.syntax, func(n ast.Node) bool {
			selected, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if from, ok := selected.X.(*ast.Ident); ok && from.Name == "time" && slices.Contains(clocks, selected.Sel.Name) {
				t.Errorf("%s uses time.%s", s.set.Position(n.Pos()), selected.Sel.Name)
			}
			return true
		})
		for _, spec := range f.syntax.Imports {
			if spec.Path.Value == `"time"` && spec.Name != nil {
				t.Errorf("%s renames the import of time, which hides its use from this check", f.name)
			}
		}
	}
}

func TestPureCoreStartsNothing(t *testing.T) {
	s := load(t)
	for _, f := range s.files {
		if f.isTest() || !isPure(dirOf(f)) {
			continue
		}
		ast.Inspect(f.syntax, func(n ast.Node) bool {
			if _, is := n.(*ast.GoStmt); is {
				t.Errorf("%s starts a goroutine", s.set.Position(n.Pos()))
			}
			return true
		})
	}
}

func dirOf(f *file) string { return f.name[:strings.LastIndex(f.name, "/")] }
