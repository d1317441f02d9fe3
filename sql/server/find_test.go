package server

import (
	"context"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite golden files")

// fakeMachine has the given major version in each folder; 0 stands for programs that do not run.
func fakeMachine(goos, onPath string, folders map[string]int) finder {
	return finder{
		goos: goos,
		lookPath: func(string) (string, error) {
			if onPath == "" {
				return "", errors.New("not found")
			}
			return filepath.Join(onPath, "postgres"), nil
		},
		glob: func(pattern string) (found []string, err error) {
			for dir := range folders {
				if ok, _ := filepath.Match(pattern, dir); ok {
					found = append(found, dir)
				}
			}
			return found, nil
		},
		major: func(_ context.Context, dir string) (int, error) {
			major, ok := folders[dir]
			switch {
			case !ok:
				return 0, errNoPrograms
			case major == 0:
				return 0, errors.New(dir + " is broken")
			}
			return major, nil
		},
		getenv: func(string) string { return "" },
	}
}

func TestFind(t *testing.T) {
	cases := map[string]struct {
		goos, binDir, onPath string
		folders              map[string]int
		want                 []Install
	}{
		"newest of several": {
			goos:    "linux",
			folders: map[string]int{"/usr/lib/postgresql/15/bin": 15, "/usr/lib/postgresql/17/bin": 17, "/usr/pgsql-16/bin": 16},
			want:    []Install{{"/usr/lib/postgresql/17/bin", 17}, {"/usr/pgsql-16/bin", 16}, {"/usr/lib/postgresql/15/bin", 15}},
		},
		"the one on PATH first": {
			goos: "linux", onPath: "/opt/pg/bin",
			folders: map[string]int{"/opt/pg/bin": 16, "/usr/lib/postgresql/17/bin": 17},
			want:    []Install{{"/opt/pg/bin", 16}, {"/usr/lib/postgresql/17/bin", 17}},
		},
		"the same on PATH and in a folder": {
			goos: "linux", onPath: "/usr/lib/postgresql/15/bin",
			folders: map[string]int{"/usr/lib/postgresql/15/bin": 15},
			want:    []Install{{"/usr/lib/postgresql/15/bin", 15}},
		},
		"configured alone": {
			goos: "linux", binDir: "/srv/pg", onPath: "/opt/pg/bin",
			folders: map[string]int{"/srv/pg": 15, "/opt/pg/bin": 17},
			want:    []Install{{"/srv/pg", 15}},
		},
		"too old ones are passed over": {
			goos:    "linux",
			folders: map[string]int{"/usr/lib/postgresql/13/bin": 13, "/usr/lib/postgresql/15/bin": 15},
			want:    []Install{{"/usr/lib/postgresql/15/bin", 15}},
		},
		"broken ones are passed over": {
			goos:    "linux",
			folders: map[string]int{"/usr/lib/postgresql/18/bin": 0, "/usr/lib/postgresql/15/bin": 15},
			want:    []Install{{"/usr/lib/postgresql/15/bin", 15}},
		},
		"macOS": {
			goos:    "darwin",
			folders: map[string]int{"/opt/homebrew/opt/postgresql@15/bin": 15, "/Applications/Postgres.app/Contents/Versions/17/bin": 17},
			want:    []Install{{"/Applications/Postgres.app/Contents/Versions/17/bin", 17}, {"/opt/homebrew/opt/postgresql@15/bin", 15}},
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got, err := fakeMachine(c.goos, c.onPath, c.folders).find(t.Context(), c.binDir)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("installs (-want +got):\n%s", diff)
			}
		})
	}
}

func TestFindTellsWhatIsMissing(t *testing.T) {
	cases := map[string]struct {
		goos, binDir string
		folders      map[string]int
	}{
		"not_installed_linux":   {goos: "linux"},
		"not_installed_darwin":  {goos: "darwin"},
		"not_installed_windows": {goos: "windows"},
		"not_in_configured":     {goos: "linux", binDir: "/srv/pg", folders: map[string]int{"/usr/lib/postgresql/15/bin": 15}},
		"only_broken":           {goos: "linux", folders: map[string]int{"/usr/pgsql-16/bin": 0}},
		"too_old":               {goos: "linux", folders: map[string]int{"/usr/pgsql-12/bin": 12, "/usr/pgsql-14/bin": 14}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, err := fakeMachine(c.goos, "", c.folders).find(t.Context(), c.binDir)
			if err == nil {
				t.Fatal("something was found")
			}
			golden := filepath.Join("testdata", name+".golden")
			if *update {
				if err := os.WriteFile(golden, []byte(err.Error()+"\n"), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, readErr := os.ReadFile(golden)
			if readErr != nil {
				t.Fatal(readErr)
			}
			if diff := cmp.Diff(string(want), err.Error()+"\n"); diff != "" {
				t.Errorf("message (-want +got):\n%s", diff)
			}
		})
	}
}

func TestParseMajor(t *testing.T) {
	for out, want := range map[string]int{
		"postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n": 15,
		"postgres (PostgreSQL) 9.6.24\n":                         9,
		"postgres (PostgreSQL) 18beta1\n":                        18,
		"postgres (PostgreSQL) 19devel\n":                        19,
	} {
		if got, err := parseMajor(out); err != nil || got != want {
			t.Errorf("%q: %d, %v; want %d", out, got, err, want)
		}
	}
	for _, out := range []string{"", "postgres 15.1", "command not found"} {
		if got, err := parseMajor(out); err == nil {
			t.Errorf("%q: %d, want an error", out, got)
		}
	}
}
