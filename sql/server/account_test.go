//go:build unix

package server_test

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"underbond/sql/server"
	"underbond/sql/server/servertest"
)

func needRoot(t *testing.T) {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("needs root, to act as several accounts")
	}
}

func lookup(t *testing.T, name string) (uid, gid uint32) {
	t.Helper()
	u, err := user.Lookup(name)
	if err != nil {
		t.Skipf("needs account %s: %v", name, err)
	}
	id := func(text string) uint32 {
		n, err := strconv.ParseUint(text, 10, 32)
		if err != nil {
			t.Fatal(err)
		}
		return uint32(n)
	}
	return id(u.Uid), id(u.Gid)
}

// runPsql pastes a command line into a shell and returns what psql prints for a query.
func runPsql(t *testing.T, line string, attr *syscall.SysProcAttr) string {
	t.Helper()
	cmd := exec.Command("/bin/sh", "-c", line+` -X -A -t -c "select 'hello ' || current_user"`)
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "PGPORT=1", "PGHOST=nowhere", "PGDATABASE=none"}
	cmd.Dir = "/"
	cmd.SysProcAttr = attr
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", line, err, out)
	}
	return strings.TrimSpace(string(out))
}

func TestPsqlCommand(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: filepath.Join(stateDir(t), "a 'quoted' $folder")})
	const want = "hello " + server.AdminRole
	if got := runPsql(t, s.PsqlCommand("postgres"), nil); got != want {
		t.Errorf("as the caller: %q, want %q", got, want)
	}
	if got := runPsql(t, s.PsqlCommand("postgres"), asOwnerOf(t, s.DataFolder())); got != want {
		t.Errorf("as the server's account: %q, want %q", got, want)
	}
}

// TestOrdinaryUser runs a whole daemon as an account without rights.
func TestOrdinaryUser(t *testing.T) {
	t.Parallel()
	needRoot(t)
	servertest.New(t)
	uid, gid := lookup(t, "nobody")
	parent := filepath.Dir(stateDir(t))
	if err := os.Chown(parent, int(uid), int(gid)); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(parent, "state")
	attr := &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uid, Gid: gid, Groups: []uint32{}}}
	helper := publicCopy(t)
	for round := range 2 {
		d := startDaemon(t, dir, func(cmd *exec.Cmd) {
			cmd.Path, cmd.Args[0], cmd.Dir, cmd.SysProcAttr = helper, helper, "/", attr
		})
		r := d.report(t)
		if r.Failure != "" {
			t.Fatalf("round %d: %s", round, r.Failure)
		}
		if r.UID != int(uid) || len(r.Warnings) > 0 {
			t.Errorf("runs as %d with warnings %q, want %d and none", r.UID, r.Warnings, uid)
		}
		if owner, _ := ownerOf(t, dataFolder(t, dir)); owner != int(uid) {
			t.Errorf("the data belongs to %d, want %d", owner, uid)
		}
		run(t, r.URL, "create table if not exists ledger (n int)")
		if got, want := runPsql(t, r.Psql, attr), "hello "+server.AdminRole; got != want {
			t.Errorf("psql as the ordinary user: %q, want %q", got, want)
		}
		if got, want := runPsql(t, r.Psql, nil), "hello "+server.AdminRole; got != want {
			t.Errorf("psql as root: %q, want %q", got, want)
		}
		if err := d.stdin.Close(); err != nil {
			t.Fatal(err)
		}
		if err := d.cmd.Wait(); err != nil {
			t.Errorf("round %d: stop: %v", round, err)
		}
	}
}

// publicCopy is the test binary where every account can run it.
func publicCopy(t *testing.T) string {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	in, err := os.Open(exe)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	dir, err := servertest.Dir()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	path := filepath.Join(dir, "helper")
	out, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRootRunsTheServerAsAnotherAccount(t *testing.T) {
	t.Parallel()
	needRoot(t)
	cases := map[string]struct {
		configured, runsAs, warning string
	}{
		"configured":           {configured: "nobody", runsAs: "nobody", warning: "may share"},
		"postgres, by default": {runsAs: "postgres", warning: "the daemon runs as root"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			uid, _ := lookup(t, c.runsAs)
			s := start(t, server.Options{Dir: stateDir(t), Account: c.configured})
			if owner, _ := ownerOf(t, s.DataFolder()); owner != int(uid) {
				t.Errorf("the data belongs to %d, want %d", owner, uid)
			}
			if all := strings.Join(s.Warnings(), "\n"); !strings.Contains(all, c.warning) {
				t.Errorf("warnings are %q, want one that says %q", all, c.warning)
			}
		})
	}
}

func TestExistingClusterStaysWithItsOwner(t *testing.T) {
	t.Parallel()
	needRoot(t)
	lookup(t, "postgres")
	dir := stateDir(t)
	mustStop(t, start(t, server.Options{Dir: dir, Account: "nobody"}))
	uid, _ := lookup(t, "nobody")
	s := start(t, server.Options{Dir: dir})
	if owner, _ := ownerOf(t, s.DataFolder()); owner != int(uid) {
		t.Errorf("the data belongs to %d, want %d", owner, uid)
	}
	mustStop(t, s)
	_, err := server.Start(t.Context(), server.Options{Dir: dir, Account: "postgres"})
	var owner *server.OwnerError
	if !errors.As(err, &owner) {
		t.Fatalf("error is %v, want OwnerError", err)
	}
	if owner.Owner != "nobody" || owner.Account != "postgres" {
		t.Errorf("owner %q, account %q", owner.Owner, owner.Account)
	}
}

func TestAccountThatCannotBeUsed(t *testing.T) {
	t.Parallel()
	needRoot(t)
	servertest.New(t)
	for name, account := range map[string]string{"unknown": "no_such_account", "root itself": "root"} {
		t.Run(name, func(t *testing.T) {
			_, err := server.Start(t.Context(), server.Options{Dir: stateDir(t), Account: account})
			var refused *server.AccountError
			if !errors.As(err, &refused) || refused.Name != account {
				t.Errorf("error is %v, want AccountError for %s", err, account)
			}
		})
	}
}

func TestParentThatCannotBePassed(t *testing.T) {
	t.Parallel()
	needRoot(t)
	servertest.New(t)
	dir := stateDir(t)
	closed := filepath.Join(dir, "closed")
	if err := os.MkdirAll(closed, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	o := server.Options{Dir: filepath.Join(closed, "state")}
	_, err := server.Start(t.Context(), o)
	var blocked *server.TraverseError
	if !errors.As(err, &blocked) {
		t.Fatalf("error is %v, want TraverseError", err)
	}
	if blocked.Folder != closed || !strings.Contains(err.Error(), "chmod o+x "+closed) {
		t.Errorf("folder %s in %q, want %s and what to do", blocked.Folder, err, closed)
	}
	// Doing what the error says helps.
	if err := os.Chmod(closed, 0o701); err != nil {
		t.Fatal(err)
	}
	start(t, o)
}
