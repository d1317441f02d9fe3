//go:build unix

package server

import (
	"os"
	"path/filepath"
	"testing"
)

func TestPrivateFolderRefusesWhatOthersPrepared(t *testing.T) {
	me := account{Name: "me", UID: os.Geteuid()}
	cases := map[string]struct {
		prepare func(dir string) error
		owner   account
		good    bool
	}{
		"none yet":        {func(string) error { return nil }, me, true},
		"ours":            {func(dir string) error { return os.Mkdir(dir, 0o700) }, me, true},
		"open to others":  {func(dir string) error { return os.Mkdir(dir, 0o755) }, me, false},
		"somebody else's": {func(dir string) error { return os.Mkdir(dir, 0o700) }, account{Name: "other", UID: me.UID + 1}, false},
		"a file":          {func(dir string) error { return os.WriteFile(dir, nil, 0o600) }, me, false},
		"a link":          {func(dir string) error { return os.Symlink(filepath.Dir(dir), dir) }, me, false},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "socket")
			if err := c.prepare(dir); err != nil {
				t.Fatal(err)
			}
			if err := privateFolder(dir, c.owner); (err == nil) != c.good {
				t.Errorf("error is %v, want accepted: %v", err, c.good)
			}
		})
	}
}

// TestWriteDoesNotFollowLinks: root writes into a folder of a lesser account, which may plant links there.
func TestWriteDoesNotFollowLinks(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "victim")
	if err := os.WriteFile(outside, []byte("precious"), 0o600); err != nil {
		t.Fatal(err)
	}
	base := t.TempDir()
	f, err := openFolder(base, account{UID: os.Geteuid()})
	if err != nil {
		t.Fatal(err)
	}
	defer f.close()
	for _, link := range []string{"pgpass", "pgpass.next"} {
		if err := os.Symlink(outside, filepath.Join(base, link)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(filepath.Dir(outside), filepath.Join(base, "passwords")); err != nil {
		t.Fatal(err)
	}
	if err := f.write("pgpass", "secret"); err != nil {
		t.Fatal(err)
	}
	if err := f.write("passwords/role", "secret"); err == nil {
		t.Error("a folder that leads outside was followed")
	}
	if text, err := os.ReadFile(outside); err != nil || string(text) != "precious" {
		t.Errorf("the file outside holds %q, %v", text, err)
	}
	if info, err := os.Lstat(filepath.Join(base, "pgpass")); err != nil || !info.Mode().IsRegular() {
		t.Errorf("the link was not replaced: %v, %v", info, err)
	}
}
