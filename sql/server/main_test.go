package server_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/jackc/pgx/v5"

	"underbond/sql/server"
	"underbond/sql/server/internal/testmode"
	"underbond/sql/server/servertest"
)

// helperVariable makes the test binary act as a daemon on the folder it names.
const helperVariable = "UNDERBOND_TEST_DAEMON_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(helperVariable); dir != "" {
		os.Exit(actAsDaemon(dir))
	}
	servertest.Main(m)
}

// report is what the helper daemon tells its test on stdout.
type report struct {
	URL      string
	Psql     string
	UID      int
	Failure  string
	Warnings []string
}

// actAsDaemon runs a durable server until stdin ends.
func actAsDaemon(dir string) int {
	var r report
	s, err := server.Start(context.Background(), server.Options{Dir: dir})
	r.UID = os.Getuid()
	if err != nil {
		r.Failure = err.Error()
	} else {
		r.URL, r.Psql, r.Warnings = s.AdminURL(), s.PsqlCommand("postgres"), s.Warnings()
	}
	if err := json.NewEncoder(os.Stdout).Encode(r); err != nil || s == nil {
		return 1
	}
	io.Copy(io.Discard, os.Stdin)
	if err := s.Stop(context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// daemon is a helper process.
type daemon struct {
	cmd   *exec.Cmd
	stdin io.WriteCloser
	out   *bufio.Reader
}

// startDaemon starts the helper without waiting for its report. change may adjust the command.
func startDaemon(t *testing.T, dir string, change func(*exec.Cmd)) *daemon {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	d := &daemon{cmd: exec.Command(exe)}
	d.cmd.Env = append(os.Environ(), helperVariable+"="+dir)
	d.cmd.Stderr = os.Stderr
	if d.stdin, err = d.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := d.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	d.out = bufio.NewReader(out)
	if change != nil {
		change(d.cmd)
	}
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		d.cmd.Process.Kill()
		d.cmd.Wait()
	})
	return d
}

func (d *daemon) report(t *testing.T) report {
	t.Helper()
	var r report
	line, err := d.out.ReadBytes('\n')
	if err != nil {
		t.Fatalf("read the helper's report: %v", err)
	}
	if err := json.Unmarshal(line, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

// stateDir is a folder that the server's account can pass, removed at the end.
func stateDir(t *testing.T) string {
	t.Helper()
	dir, err := servertest.Dir()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	return filepath.Join(dir, "state")
}

// start starts a volatile server and stops it at the end of the test.
func start(t *testing.T, o server.Options) *server.Server {
	t.Helper()
	servertest.New(t) // skips or fails when there is no Postgres
	o.Testing = testmode.Volatile()
	s, err := server.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { mustStop(t, s) })
	return s
}

func mustStop(t *testing.T, s *server.Server) {
	t.Helper()
	if err := s.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

func connect(t *testing.T, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

func run(t *testing.T, url, statement string) {
	t.Helper()
	if _, err := connect(t, url).Exec(context.Background(), statement); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}

func value[T any](t *testing.T, url, query string) T {
	t.Helper()
	var v T
	if err := connect(t, url).QueryRow(context.Background(), query).Scan(&v); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return v
}
