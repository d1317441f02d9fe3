// Package servertest gives tests a real Postgres: one throw-away private
// cluster a test process, started when first wanted, and a database a test.
package servertest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gofrs/flock"
	"github.com/jackc/pgx/v5"

	"underbond/sql/server"
	"underbond/sql/server/internal/testmode"
)

// RequireVariable names the environment variable that, set to 1, makes tests
// fail instead of skip when the machine has no Postgres.
const RequireVariable = "UNDERBOND_REQUIRE_POSTGRES"

const (
	dirPattern     = "underbond-pgtest-"
	maxConnections = 100
)

// Volatile is the value of server.Options.Testing for tests that start a server of their own.
func Volatile() testmode.Mode { return testmode.Volatile() }

var shared struct {
	start  sync.Once
	dir    string
	server *server.Server
	err    error
}

// Main runs a package's tests, stops the cluster and exits. Call it from TestMain.
func Main(m *testing.M) {
	code := m.Run()
	if err := Stop(); err != nil {
		fmt.Fprintln(os.Stderr, "stop the test cluster:", err)
		code = max(code, 1)
	}
	os.Exit(code)
}

// Stop ends the cluster, if one was started, and removes its files. Main calls
// it; a TestMain that does more can call it by itself, once.
func Stop() error {
	// Wins against a later New, which then finds no server.
	shared.start.Do(func() { shared.err = errors.New("the test cluster has been stopped") })
	var err error
	if shared.server != nil {
		err = shared.server.Stop(context.Background())
	}
	if shared.dir != "" {
		err = errors.Join(err, os.RemoveAll(shared.dir))
	}
	return err
}

// New returns the cluster of this test process. Without Postgres on the
// machine the test is skipped, or fails when RequireVariable is 1.
func New(t testing.TB) *server.Server {
	t.Helper()
	shared.start.Do(start)
	var missing *server.NotInstalledError
	switch {
	case errors.As(shared.err, &missing) && os.Getenv(RequireVariable) != "1":
		t.Skipf("needs PostgreSQL: %v", missing)
	case shared.err != nil:
		t.Fatalf("start the test cluster: %v", shared.err)
	}
	return shared.server
}

func start() {
	removeAbandoned(os.TempDir(), time.Now())
	if shared.dir, shared.err = Dir(); shared.err != nil {
		return
	}
	shared.server, shared.err = server.Start(context.Background(), server.Options{
		Dir:            shared.dir,
		MaxConnections: maxConnections,
		Testing:        testmode.Volatile(),
	})
}

// Dir makes a temporary folder that every account can pass, as a server
// started by root needs; t.TempDir does not. The caller removes it.
func Dir() (string, error) {
	dir, err := os.MkdirTemp("", dirPattern)
	if err != nil {
		return "", err
	}
	return dir, os.Chmod(dir, 0o711)
}

// removeAbandoned removes clusters of test processes that were killed: their
// lock is free and they are old enough not to be just starting.
func removeAbandoned(parent string, now time.Time) {
	dirs, _ := filepath.Glob(filepath.Join(parent, dirPattern+"*"))
	for _, dir := range dirs {
		info, err := os.Lstat(dir)
		if err != nil || !info.IsDir() || now.Sub(info.ModTime()) < time.Hour {
			continue
		}
		lock := flock.New(filepath.Join(dir, "pg.lock"))
		if free, err := lock.TryLock(); err == nil && free {
			// Best effort: the folder may belong to somebody else.
			_ = os.RemoveAll(dir)
			_ = lock.Close()
		}
	}
}

var databases atomic.Int64

// Database makes an empty database for one test and returns a superuser URL
// for it. It is dropped, with its sessions, when the test ends.
func Database(t testing.TB) (adminURL string) {
	t.Helper()
	s := New(t)
	name := fmt.Sprintf("test_%d", databases.Add(1))
	exec(t, s.AdminURL(), "create database "+name+" template template0 strategy file_copy")
	t.Cleanup(func() { exec(t, s.AdminURL(), "drop database "+name+" with (force)") })
	return s.AdminURLFor(name)
}

func exec(t testing.TB, url, statement string) {
	t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatalf("connect to the test cluster: %v", err)
	}
	_, err = conn.Exec(ctx, statement)
	if err := errors.Join(err, conn.Close(ctx)); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}
