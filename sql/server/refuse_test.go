//go:build unix

package server_test

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"underbond/sql/server"
	"underbond/sql/server/servertest"
)

// fingerprint covers names, modes, sizes, times and contents of all below a folder.
func fingerprint(t *testing.T, dir string) string {
	t.Helper()
	h := sha256.New()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		fmt.Fprintln(h, path, info.Mode(), info.ModTime().UnixNano())
		if !e.Type().IsRegular() {
			return nil
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		fmt.Fprintf(h, "%d %x\n", len(content), sha256.Sum256(content))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

func TestForeignDataFolderIsRefusedAndUntouched(t *testing.T) {
	major := servertest.New(t).Install().Major
	dir := stateDir(t)
	mustStop(t, startDurable(t, dir))
	pg := filepath.Join(dir, "pg")
	data := dataFolder(t, dir)
	home := filepath.Dir(data)

	rename := func(from, to string) func(*testing.T) {
		return func(t *testing.T) {
			if err := os.Rename(from, to); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() {
				if err := os.Rename(to, from); err != nil {
					t.Error(err)
				}
			})
		}
	}
	content := func(file, text string) func(*testing.T) {
		return func(t *testing.T) {
			old, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() {
				if err := os.WriteFile(file, old, 0o600); err != nil {
					t.Error(err)
				}
			})
		}
	}
	away := filepath.Join(dir, "away")
	version, control := filepath.Join(data, "PG_VERSION"), filepath.Join(data, "global", "pg_control")

	cases := map[string]struct {
		spoil    func(*testing.T)
		mismatch int    // major version of the data, when that is the reason
		reason   string // else
	}{
		"older major in the file":   {spoil: content(version, "14\n"), mismatch: 14},
		"newer major in the file":   {spoil: content(version, "99\n"), mismatch: 99},
		"folder of another major":   {spoil: rename(home, filepath.Join(pg, "99")), mismatch: 99},
		"version is no number":      {spoil: content(version, "fifteen\n"), reason: "no major version"},
		"version is empty":          {spoil: content(version, ""), reason: "no major version"},
		"version is missing":        {spoil: rename(version, away), reason: "half made"},
		"control file is missing":   {spoil: rename(control, away), reason: "half made"},
		"control file is empty":     {spoil: content(control, ""), reason: "half made"},
		"administrator's password":  {spoil: rename(filepath.Join(home, "passwords", server.AdminRole), away), reason: "password of its administrator is missing"},
		"data folder is a file":     {spoil: func(t *testing.T) { rename(data, away)(t); fakeFile(t, data) }, reason: "not a folder"},
		"data folder leads outside": {spoil: func(t *testing.T) { rename(data, away)(t); fakeLink(t, away, data) }, reason: "cannot be looked at"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			c.spoil(t)
			before := fingerprint(t, pg)
			s, err := server.Start(t.Context(), server.Options{Dir: dir})
			if err == nil {
				mustStop(t, s)
				t.Fatal("the folder was accepted")
			}
			var mismatch *server.MajorMismatchError
			var folder *server.DataFolderError
			switch {
			case c.mismatch != 0:
				if !errors.As(err, &mismatch) {
					t.Fatalf("error is %v, want MajorMismatchError", err)
				}
				if mismatch.Data != c.mismatch || len(mismatch.Installed) == 0 || mismatch.Installed[0] != major {
					t.Errorf("data %d, installed %v; want %d and %d", mismatch.Data, mismatch.Installed, c.mismatch, major)
				}
			case !errors.As(err, &folder) || !strings.Contains(err.Error(), c.reason):
				t.Errorf("error is %v, want a DataFolderError that says %q", err, c.reason)
			}
			if after := fingerprint(t, pg); after != before {
				t.Error("the refused folder was changed")
			}
		})
	}
	// All spoils were undone: the cluster itself is as good as before.
	giveBack(t, dir)
	mustStop(t, startDurable(t, dir))
}

func fakeFile(t *testing.T, path string) {
	t.Helper()
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Remove(path) })
}

func fakeLink(t *testing.T, target, path string) {
	t.Helper()
	if err := os.Symlink(target, path); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Remove(path) })
}

// giveBack restores the owner of files that a test run by root wrote.
func giveBack(t *testing.T, dir string) {
	t.Helper()
	pg := filepath.Join(dir, "pg")
	err := filepath.WalkDir(pg, func(path string, _ fs.DirEntry, err error) error {
		if err == nil {
			giveToOwnerOf(t, pg, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestNoFolderGiven(t *testing.T) {
	if _, err := server.Start(t.Context(), server.Options{}); err == nil {
		t.Error("a server without a folder was started")
	}
}

func TestNotInstalled(t *testing.T) {
	dir := stateDir(t)
	_, err := server.Start(t.Context(), server.Options{Dir: dir, BinDir: t.TempDir()})
	var missing *server.NotInstalledError
	if !errors.As(err, &missing) {
		t.Fatalf("error is %v, want NotInstalledError", err)
	}
	if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("something was made although nothing can run: %v", err)
	}
}
