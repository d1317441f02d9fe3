package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
)

// MinMajor is the oldest PostgreSQL major version that the schema works with.
const MinMajor = 15

// Install is one set of PostgreSQL programs on the machine.
type Install struct {
	Dir   string // folder with postgres and initdb
	Major int
}

// finder looks for installs; its fields are the outside world.
type finder struct {
	goos     string
	lookPath func(string) (string, error)
	glob     func(string) ([]string, error)
	major    func(ctx context.Context, dir string) (int, error)
	getenv   func(string) string
}

func machine() finder {
	return finder{goos: runtime.GOOS, lookPath: exec.LookPath, glob: filepath.Glob, major: majorOf, getenv: os.Getenv}
}

// find returns the installs in order of preference: the configured folder
// alone when there is one, else the one on PATH, then the others, newest first.
func (f finder) find(ctx context.Context, binDir string) ([]Install, error) {
	if binDir != "" {
		major, err := f.major(ctx, binDir)
		if errors.Is(err, errNoPrograms) {
			return nil, &NotInstalledError{BinDir: binDir}
		}
		if err != nil {
			return nil, err
		}
		return newEnough([]Install{{binDir, major}})
	}
	onPath := f.pathDirs()
	var found, rest []Install
	seen := map[string]bool{}
	var broken []error
	collect := func(into *[]Install, dirs []string) {
		for _, dir := range dirs {
			if seen[dir] {
				continue
			}
			seen[dir] = true
			major, err := f.major(ctx, dir)
			switch {
			case err == nil:
				*into = append(*into, Install{dir, major})
			case !errors.Is(err, errNoPrograms):
				broken = append(broken, err)
			}
		}
	}
	collect(&found, onPath)
	patterns := f.patterns()
	for _, p := range patterns {
		// The only error is a malformed pattern, and the patterns are constants.
		dirs, _ := f.glob(p)
		collect(&rest, dirs)
	}
	slices.SortStableFunc(rest, func(a, b Install) int { return cmp.Compare(b.Major, a.Major) })
	found = append(found, rest...)
	if ctx.Err() != nil {
		return nil, fmt.Errorf("look for PostgreSQL: %w", context.Cause(ctx))
	}
	if len(found) == 0 {
		return nil, &NotInstalledError{Searched: append([]string{"PATH"}, patterns...), Broken: errors.Join(broken...)}
	}
	return newEnough(found)
}

func newEnough(all []Install) ([]Install, error) {
	newest := slices.MaxFunc(all, func(a, b Install) int { return cmp.Compare(a.Major, b.Major) })
	if newest.Major < MinMajor {
		return nil, &TooOldError{Found: newest}
	}
	return slices.DeleteFunc(slices.Clone(all), func(i Install) bool { return i.Major < MinMajor }), nil
}

// pathDirs returns the folder of the postgres on PATH.
func (f finder) pathDirs() []string {
	p, err := f.lookPath("postgres")
	if err != nil {
		return nil
	}
	if real, err := filepath.EvalSymlinks(p); err == nil {
		p = real
	}
	if abs, err := filepath.Abs(p); err == nil {
		p = abs
	}
	return []string{filepath.Dir(p)}
}

// patterns lists where distributions and installers put versioned folders.
func (f finder) patterns() []string {
	switch f.goos {
	case "windows":
		base := f.getenv("ProgramFiles")
		if base == "" {
			base = `C:\Program Files`
		}
		return []string{base + `\PostgreSQL\*\bin`}
	case "darwin":
		return []string{
			"/opt/homebrew/opt/postgresql@*/bin",
			"/usr/local/opt/postgresql@*/bin",
			"/Applications/Postgres.app/Contents/Versions/*/bin",
			"/Library/PostgreSQL/*/bin",
			"/opt/local/lib/postgresql*/bin",
		}
	default:
		return []string{
			"/usr/lib/postgresql/*/bin",
			"/usr/pgsql-*/bin",
			"/usr/lib/postgresql*/bin",
			"/usr/libexec/postgresql*",
			"/usr/local/pgsql/bin",
		}
	}
}

var (
	errNoPrograms  = errors.New("no server programs")
	versionPattern = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)
)

// majorOf asks the postgres program in a folder for its major version.
func majorOf(ctx context.Context, dir string) (int, error) {
	for _, name := range []string{"postgres", "initdb"} {
		if info, err := os.Stat(program(dir, name)); err != nil || info.IsDir() {
			return 0, errNoPrograms
		}
	}
	out, err := exec.CommandContext(ctx, program(dir, "postgres"), "--version").Output()
	if err != nil {
		return 0, fmt.Errorf("ask %s for its version: %w", program(dir, "postgres"), err)
	}
	return parseMajor(string(out))
}

func parseMajor(out string) (int, error) {
	m := versionPattern.FindStringSubmatch(out)
	if m == nil {
		return 0, fmt.Errorf("no version in %q", strings.TrimSpace(out))
	}
	return strconv.Atoi(m[1])
}

// program is the path of a PostgreSQL program in a folder.
func program(dir, name string) string {
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return filepath.Join(dir, name)
}
