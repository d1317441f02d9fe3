//go:build unix

package server_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"underbond/sql/server"
	"underbond/sql/server/servertest"
)

func TestStartStopTwiceKeepsRows(t *testing.T) {
	t.Parallel()
	servertest.New(t)
	o := server.Options{Dir: stateDir(t), Testing: servertest.Volatile()}
	for round := range 3 {
		s, err := server.Start(t.Context(), o)
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		run(t, s.AdminURL(), "create table if not exists visit (n int)")
		run(t, s.AdminURL(), "insert into visit values (1)")
		if n := value[int](t, s.AdminURL(), "select count(*) from visit"); n != round+1 {
			t.Errorf("round %d: %d rows, want %d", round, n, round+1)
		}
		mustStop(t, s)
		mustStop(t, s)
		if err, open := <-s.Exited(); open {
			t.Errorf("round %d: a stop that was asked for is reported as an exit: %v", round, err)
		}
		if _, err := pgx.Connect(t.Context(), s.AdminURL()); err == nil {
			t.Errorf("round %d: the server still answers after Stop", round)
		}
	}
}

func TestTwoClustersSideBySide(t *testing.T) {
	t.Parallel()
	first := start(t, server.Options{Dir: stateDir(t)})
	second := start(t, server.Options{Dir: stateDir(t)})
	run(t, first.AdminURL(), "create table only_here (n int)")
	if value[bool](t, second.AdminURL(), "select to_regclass('only_here') is not null") {
		t.Error("two clusters share a table")
	}
	if a, b := first.AdminURL(), second.AdminURL(); a == b {
		t.Errorf("two clusters have one address %s", a)
	}
}

func TestDurableAndPrivateSettingsCannotBeOverruled(t *testing.T) {
	t.Parallel()
	servertest.New(t)
	o := server.Options{Dir: stateDir(t)}
	s, err := server.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	data := s.DataFolder()
	for _, set := range []string{"fsync = off", "full_page_writes = off", "synchronous_commit = off", "listen_addresses = '*'"} {
		run(t, s.AdminURL(), "alter system set "+set)
	}
	mustStop(t, s)
	conf, err := os.OpenFile(filepath.Join(data, "postgresql.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(conf, "\nfsync = off\nlisten_addresses = '*'\n")
	if err := conf.Close(); err != nil {
		t.Fatal(err)
	}

	s, err = server.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	defer mustStop(t, s)
	for setting, want := range map[string]string{
		"fsync": "on", "full_page_writes": "on", "synchronous_commit": "on",
		"listen_addresses": "", "unix_socket_permissions": "0700", "data_checksums": "on",
		"server_encoding": "UTF8", "TimeZone": "UTC", "max_connections": "40", "password_encryption": "scram-sha-256",
	} {
		if got := value[string](t, s.AdminURL(), "select current_setting('"+setting+"')"); got != want {
			t.Errorf("%s is %q, want %q", setting, got, want)
		}
	}
}

func TestOnlyTheOwnerCanReachIt(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: stateDir(t)})
	home := filepath.Dir(s.DataFolder())
	for name, perm := range map[string]os.FileMode{
		"..": 0o700, ".": 0o700, "data": 0o700, "s": 0o700, "passwords": 0o700,
		"pgpass": 0o600, "passwords/" + server.AdminRole: 0o600,
	} {
		info, err := os.Stat(filepath.Join(home, name))
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != perm {
			t.Errorf("%s has mode %o, want %o", name, got, perm)
		}
	}
	if _, err := pgx.Connect(t.Context(), s.URL(server.AdminRole, "0", "postgres")); err == nil {
		t.Error("a wrong password is let in")
	}
}

func TestSocketFolderWhereThePathIsLong(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(stateDir(t), strings.Repeat("cellar/", 12), "a folder, with 'odd' \"signs\"")
	s := start(t, server.Options{Dir: dir})
	run(t, s.AdminURL(), "create table t (n int)")
	config, err := pgx.ParseConfig(s.AdminURL())
	if err != nil {
		t.Fatal(err)
	}
	if len(config.Host) > 80 {
		t.Errorf("socket folder %s is still long", config.Host)
	}
	mustStop(t, s)
	if _, err := os.Stat(config.Host); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the short socket folder is left behind: %v", err)
	}
}

func TestFolderNameWithSpace(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: filepath.Join(stateDir(t), "bonded store")})
	run(t, s.AdminURL(), "create table t (n int)")
}

func TestInUse(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	first := start(t, server.Options{Dir: dir})
	run(t, first.AdminURL(), "create table kept (n int)")

	t.Run("same process", func(t *testing.T) {
		_, err := server.Start(t.Context(), server.Options{Dir: dir})
		var inUse *server.InUseError
		if !errors.As(err, &inUse) {
			t.Fatalf("error is %v, want InUseError", err)
		}
		if inUse.PID != os.Getpid() {
			t.Errorf("owner is process %d, want %d", inUse.PID, os.Getpid())
		}
	})
	t.Run("other process", func(t *testing.T) {
		r := startDaemon(t, dir, nil).report(t)
		if want := fmt.Sprintf("in use by process %d", os.Getpid()); !strings.Contains(r.Failure, want) {
			t.Errorf("failure is %q, want it to say %q", r.Failure, want)
		}
	})
	if n := value[int](t, first.AdminURL(), "select count(*) from kept"); n != 0 {
		t.Errorf("the first server lost its table's state: %d rows", n)
	}
}

func TestStopBreaksOpenSessions(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: stateDir(t)})
	conn := connect(t, s.AdminURL())
	if _, err := conn.Exec(t.Context(), "begin; create table half (n int)"); err != nil {
		t.Fatal(err)
	}
	mustStop(t, s)
}

func TestStopInAHurryStillEnds(t *testing.T) {
	t.Parallel()
	servertest.New(t)
	o := server.Options{Dir: stateDir(t)}
	s, err := server.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	run(t, s.AdminURL(), "create table kept (n int)")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	// Either the polite way was quick enough, or the hard way is reported.
	var hard *server.ProgramError
	if err := s.Stop(ctx); err != nil && !errors.As(err, &hard) {
		t.Error(err)
	}
	again := start(t, o)
	if n := value[int](t, again.AdminURL(), "select count(*) from kept"); n != 0 {
		t.Errorf("%d rows", n)
	}
}

func TestStartIsCancelled(t *testing.T) {
	t.Parallel()
	servertest.New(t)
	o := server.Options{Dir: stateDir(t), Testing: servertest.Volatile()}
	ctx, cancel := context.WithCancelCause(t.Context())
	reason := errors.New("changed our mind")
	cancel(reason)
	if _, err := server.Start(ctx, o); !errors.Is(err, reason) {
		t.Fatalf("error is %v, want the cause", err)
	}
	mustStop(t, start(t, o))
}

func TestLogLines(t *testing.T) {
	t.Parallel()
	lines := make(chan string, 1000)
	s := start(t, server.Options{Dir: stateDir(t), Log: func(line string) { lines <- line }})
	mustStop(t, s)
	close(lines)
	var ready bool
	for line := range lines {
		if strings.Contains(line, "\n") {
			t.Errorf("not one line: %q", line)
		}
		ready = ready || strings.Contains(line, "database system is ready to accept connections")
	}
	if !ready {
		t.Error("the server's log did not come through")
	}
}

func TestReachedThroughTheSocketAlone(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: stateDir(t)})
	if network := connect(t, s.AdminURL()).PgConn().Conn().RemoteAddr().Network(); network != "unix" {
		t.Errorf("connected over %s, want unix", network)
	}
	if listen := value[string](t, s.AdminURL(), "show listen_addresses"); listen != "" {
		t.Errorf("the server listens on %q", listen)
	}
}
