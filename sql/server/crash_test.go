//go:build unix

package server_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"underbond/sql/server"
	"underbond/sql/server/servertest"
)

// startDurable starts a server as production does.
func startDurable(t *testing.T, dir string) *server.Server {
	t.Helper()
	servertest.New(t)
	s, err := server.Start(t.Context(), server.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func postmasterPID(t *testing.T, data string) int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	line, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(line)
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

// dataFolder finds the only cluster below a state folder.
func dataFolder(t *testing.T, dir string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "pg", "*", "data"))
	if err != nil || len(found) != 1 {
		t.Fatalf("data folders: %v, %v", found, err)
	}
	return found[0]
}

// waitFor polls a condition of the outside world and fails after a minute.
func waitFor(t *testing.T, what string, met func() bool) {
	t.Helper()
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	deadline := time.After(time.Minute)
	for !met() {
		select {
		case <-tick.C:
		case <-deadline:
			t.Fatalf("waited a minute for %s", what)
		}
	}
}

func TestKilledServerIsReportedAndRecovers(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	s := startDurable(t, dir)
	run(t, s.AdminURL(), "create table ledger (n int)")
	run(t, s.AdminURL(), "insert into ledger select generate_series(1, 1000)")
	if err := syscall.Kill(postmasterPID(t, s.DataFolder()), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	var ended *server.ProgramError
	if err := <-s.Exited(); !errors.As(err, &ended) {
		t.Errorf("exit is reported as %v, want ProgramError", err)
	}
	mustStop(t, s)

	again := startDurable(t, dir)
	defer mustStop(t, again)
	if n := value[int](t, again.AdminURL(), "select count(*) from ledger"); n != 1000 {
		t.Errorf("%d committed rows after the crash, want 1000", n)
	}
}

func TestKilledDaemonLeavesNothingInTheWay(t *testing.T) {
	t.Parallel()
	servertest.New(t)
	dir := stateDir(t)
	for round := range 2 {
		d := startDaemon(t, dir, nil)
		r := d.report(t)
		if r.Failure != "" {
			t.Fatalf("round %d: %s", round, r.Failure)
		}
		run(t, r.URL, "create table if not exists ledger (n int)")
		run(t, r.URL, "insert into ledger values (1)")
		if err := d.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		d.cmd.Wait()
		// Only Linux ends the server by itself; in the second round the next start meets it alive or ending.
		if round == 0 && runtime.GOOS == "linux" {
			waitFor(t, "the server to end with its daemon", func() bool {
				_, err := os.Stat(filepath.Join(dataFolder(t, dir), "postmaster.pid"))
				return errors.Is(err, os.ErrNotExist)
			})
		}
	}
	s := startDurable(t, dir)
	defer mustStop(t, s)
	if n := value[int](t, s.AdminURL(), "select count(*) from ledger"); n != 2 {
		t.Errorf("%d committed rows, want 2", n)
	}
}

// TestOrphanIsStopped starts a server on the data folder that no daemon looks
// after, as a killed one leaves where the kernel does not end children.
func TestOrphanIsStopped(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	s := startDurable(t, dir)
	run(t, s.AdminURL(), "create table ledger (n int)")
	install, data := s.Install(), s.DataFolder()
	mustStop(t, s)

	orphan := exec.Command(filepath.Join(install.Dir, "postgres"), "-D", data,
		"-c", "listen_addresses=", "-c", "unix_socket_directories="+filepath.Join(filepath.Dir(data), "s"))
	orphan.Dir = data
	orphan.SysProcAttr = asOwnerOf(t, data)
	stderr, err := orphan.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := orphan.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { orphan.Process.Kill() })
	readUntil(t, stderr, "ready to accept connections")
	ended := make(chan error, 1)
	go func() { ended <- orphan.Wait() }()

	again := startDurable(t, dir)
	defer mustStop(t, again)
	if err := <-ended; err != nil {
		t.Errorf("the orphan was not stopped politely: %v", err)
	}
	if n := value[int](t, again.AdminURL(), "select count(*) from ledger"); n != 0 {
		t.Errorf("%d rows", n)
	}
}

// TestStalePIDOfAnotherProcess is a reboot after which somebody else has the dead server's process number.
func TestStalePIDOfAnotherProcess(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	s := startDurable(t, dir)
	run(t, s.AdminURL(), "create table ledger (n int)")
	data := s.DataFolder()
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	mustStop(t, s)

	bystander := exec.Command("sleep", "600")
	bystander.SysProcAttr = asOwnerOf(t, data)
	if err := bystander.Start(); err != nil {
		t.Fatal(err)
	}
	gone := make(chan error, 1)
	go func() { gone <- bystander.Wait() }()
	t.Cleanup(func() { bystander.Process.Kill() })

	_, rest, _ := strings.Cut(string(text), "\n")
	for name, content := range map[string]string{
		"number of a bystander": fmt.Sprintf("%d\n%s", bystander.Process.Pid, rest),
		"empty":                 "",
		"torn":                  "not a num",
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(data, "postmaster.pid")
			if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
				t.Fatal(err)
			}
			giveToOwnerOf(t, data, file)
			again := startDurable(t, dir)
			defer mustStop(t, again)
			if n := value[int](t, again.AdminURL(), "select count(*) from ledger"); n != 0 {
				t.Errorf("%d rows", n)
			}
		})
	}
	select {
	case err := <-gone:
		t.Errorf("the bystander was ended: %v", err)
	default:
	}
}

// TestDaemonKilledDuringInitdb kills at the moment when the unfinished folder is seen.
func TestDaemonKilledDuringInitdb(t *testing.T) {
	t.Parallel()
	servertest.New(t)
	dir := stateDir(t)
	d := startDaemon(t, dir, nil)
	unfinished := filepath.Join(dir, "pg", "*", "data.new-*", "base")
	waitFor(t, "initdb to begin", func() bool {
		found, _ := filepath.Glob(unfinished)
		return len(found) > 0
	})
	if err := d.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	d.cmd.Wait()
	if found, _ := filepath.Glob(filepath.Join(dir, "pg", "*", "data")); len(found) > 0 {
		t.Fatalf("a killed initdb left %v, which looks valid", found)
	}
	checkBeginsAfresh(t, dir)
}

// TestInitdbDies lets initdb itself die half-way.
func TestInitdbDies(t *testing.T) {
	t.Parallel()
	install := servertest.New(t).Install()
	bin, err := servertest.Dir()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(bin) })
	if err := os.Symlink(filepath.Join(install.Dir, "postgres"), filepath.Join(bin, "postgres")); err != nil {
		t.Fatal(err)
	}
	script := fmt.Sprintf("#!/bin/sh\nmkdir -p \"$2/global\"\necho %d > \"$2/PG_VERSION\"\necho half > \"$2/global/pg_control\"\necho about to die\nkill -9 $$\n", install.Major)
	if err := os.WriteFile(filepath.Join(bin, "initdb"), []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	dir := stateDir(t)
	_, err = server.Start(t.Context(), server.Options{Dir: dir, BinDir: bin})
	var failed *server.ProgramError
	if !errors.As(err, &failed) || !strings.Contains(err.Error(), "about to die") {
		t.Fatalf("error is %v, want a ProgramError with what initdb said", err)
	}
	if found, _ := filepath.Glob(filepath.Join(dir, "pg", "*", "data*")); len(found) > 0 {
		t.Errorf("a dead initdb left %v", found)
	}
	checkBeginsAfresh(t, dir)
}

func checkBeginsAfresh(t *testing.T, dir string) {
	t.Helper()
	s := startDurable(t, dir)
	run(t, s.AdminURL(), "create table t (n int)")
	mustStop(t, s)
	if found, _ := filepath.Glob(filepath.Join(filepath.Dir(dataFolder(t, dir)), "data.new-*")); len(found) > 0 {
		t.Errorf("leftovers of the interrupted initdb: %v", found)
	}
	mustStop(t, startDurable(t, dir))
}

func TestStopEscalates(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	s := startDurable(t, dir)
	run(t, s.AdminURL(), "create table ledger (n int)")
	// A stopped process takes no signal but SIGKILL.
	pid := postmasterPID(t, s.DataFolder())
	if err := syscall.Kill(pid, syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var hard *server.ProgramError
	if err := s.Stop(ctx); !errors.As(err, &hard) {
		t.Errorf("a hard stop is reported as %v, want ProgramError", err)
	}
	again := startDurable(t, dir)
	defer mustStop(t, again)
	if n := value[int](t, again.AdminURL(), "select count(*) from ledger"); n != 0 {
		t.Errorf("%d rows", n)
	}
}
