//go:build unix

package watch

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestHostileNamesAreKeptByteForByte(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	want := map[string][]string{}
	for _, rel := range []string{
		"line\nbreak.csv", "\xff\xfe.csv", "esc\x1b[2J.csv", "-rf.csv", "trailing .csv", `back\slash.csv`, "'); drop table--.csv",
		"e\u0301.csv", "é.csv", "A.csv", "a.csv", "dir\n\xff/x.csv", strings.Repeat("n", 251) + ".csv",
	} {
		b.write(rel, rel)
		want[rel] = []string{rel}
	}
	b.scan(0)
	for _, f := range b.state().Settling {
		if strings.ContainsAny(f.PathText, "\n\x1b") {
			t.Errorf("not printable: %q", f.PathText)
		}
	}
	b.scan(quiet)
	b.want(want)
}

func TestSpecialFilesAreReportedOnceAndNeverOpened(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	outside := t.TempDir()
	b.must(os.WriteFile(filepath.Join(outside, "secret.csv"), []byte("secret"), 0o644))
	b.must(syscall.Mkfifo(b.path("pipe.csv"), 0o644)) // opening it would wait for ever
	b.must(os.Symlink(filepath.Join(outside, "secret.csv"), b.path("link.csv")))
	b.must(os.Symlink(outside, b.path("folder")))
	b.must(os.Symlink("loop.csv", b.path("loop.csv")))
	b.must(os.Symlink(".", b.path("self")))
	b.write("a.csv", "1")
	b.must(os.Symlink("a.csv", b.path("inside.csv")))
	b.settle()
	b.scan(quiet)
	b.want(map[string][]string{"a.csv": {"1"}})
	b.wantEvents(EventOnline, EventSpecial, EventSpecial, EventSpecial, EventSpecial, EventSpecial, EventSpecial)
	if s := b.state(); s.Special != 6 || s.Files != 1 {
		t.Errorf("state %+v", s)
	}
	b.must(os.Remove(b.path("pipe.csv")))
	b.write("pipe.csv", "2")
	b.settle()
	b.want(map[string][]string{"a.csv": {"1"}, "pipe.csv": {"2"}})
}

// TestUnreadableIsTriedAgain needs a user for whom permissions count, so root runs
// it again as another user.
func TestUnreadableIsTriedAgain(t *testing.T) {
	if os.Getuid() == 0 {
		runAsNobody(t)
		return
	}
	b := newBench(t, nil)
	b.write("taken/a.csv", "1")
	b.settle()
	b.write("locked.csv", "2")
	b.write("dir/b.csv", "3")
	b.scan(0)
	b.must(os.Chmod(b.path("locked.csv"), 0))
	b.must(os.Chmod(b.path("dir"), 0))
	b.must(os.Chmod(b.path("taken"), 0))
	b.settle()
	b.want(map[string][]string{"taken/a.csv": {"1"}})
	b.wantEvents(EventOnline) // nothing counts as gone
	s := b.state()
	if len(s.Unreadable) != 2 || !strings.Contains(s.Unreadable[0].Waiting, "permission denied") || s.Files != 3 {
		t.Errorf("unreadable %+v", s.Unreadable)
	}
	blocked := 0
	for _, f := range s.Settling {
		if f.PathText == "locked.csv" && f.Blocked && strings.Contains(f.Waiting, "permission denied") {
			blocked++
		}
	}
	if blocked != 1 {
		t.Errorf("settling %+v", s.Settling)
	}
	b.must(os.Chmod(b.path("locked.csv"), 0o644))
	b.must(os.Chmod(b.path("dir"), 0o755))
	b.must(os.Chmod(b.path("taken"), 0o755))
	b.settle()
	b.want(map[string][]string{"taken/a.csv": {"1"}, "locked.csv": {"2"}, "dir/b.csv": {"3"}})

	b.must(os.Chmod(b.dir, 0))
	b.scan(quiet)
	if s := b.state(); s.Status != StatusOffline || s.Files != 3 {
		t.Errorf("locked root: %+v", s)
	}
	b.must(os.Chmod(b.dir, 0o755))
}

// runAsNobody runs the calling test in a process of a user without privileges.
func runAsNobody(t *testing.T) {
	t.Helper()
	const nobody = 65534
	dir, err := os.MkdirTemp("", "unreadable")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chown(dir, nobody, nobody); err != nil {
		t.Skipf("cannot give a folder away: %v", err)
	}
	content, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	bin := filepath.Join(dir, "watch.test")
	if err := os.WriteFile(bin, content, 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), bin, "-test.run", "^"+t.Name()+"$")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "TMPDIR="+dir)
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("as another user: %v\n%s", err, out)
	}
}
