package fault

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
)

// patience bounds every wait of the tests. It is no measure of anything: a machine
// under load may be slow.
const patience = 2 * time.Minute

// daemon is one life of the program under test.
type daemon struct {
	cmd  *exec.Cmd
	done chan struct{} // closed when it has ended
	err  error         // how, once done
	// doomed: its environment may kill it.
	doomed bool
}

// log collects what all lives of a laboratory's daemon say.
type log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

// Write implements io.Writer.
func (l *log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// lines counts the log lines that have all the words.
func (l *log) lines(words ...string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
next:
	for line := range bytes.Lines(l.text.Bytes()) {
		for _, word := range words {
			if !bytes.Contains(line, []byte(word)) {
				continue next
			}
		}
		n++
	}
	return n
}

// launch starts a program whose log goes to l.
func launch(t testing.TB, l *log, env []string, program string, args ...string) *daemon {
	t.Helper()
	d := &daemon{cmd: exec.Command(program, args...), done: make(chan struct{}), doomed: len(env) > 0}
	d.cmd.Env = append(os.Environ(), env...)
	d.cmd.Stdout, d.cmd.Stderr = l, l
	d.cmd.WaitDelay = 10 * time.Second
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		d.err = d.cmd.Wait()
		close(d.done)
	}()
	return d
}

// alive tells whether the process has not ended.
func (d *daemon) alive() bool {
	select {
	case <-d.done:
		return false
	default:
		return true
	}
}

// killed tells whether the process was ended by force; ending by itself is never right.
func (d *daemon) killed() bool {
	<-d.done
	state := d.cmd.ProcessState
	return state != nil && !state.Exited()
}

// interrupted tells whether it was the request to end that ended the process by force.
func (d *daemon) interrupted() bool {
	return strings.Contains(d.cmd.ProcessState.String(), os.Interrupt.String())
}

// kill ends the process as a power switch would.
func (d *daemon) kill() {
	_ = d.cmd.Process.Kill() // it may have ended by itself
	<-d.done
}

// stop asks the process to end and waits for it. A fault may kill it just then.
func (d *daemon) stop(t testing.TB) {
	t.Helper()
	_ = d.cmd.Process.Signal(os.Interrupt) // it may be dead
	select {
	case <-d.done:
	case <-time.After(patience):
		d.kill()
		t.Fatal("the daemon does not stop")
	}
	// A process that is asked before it listens for signals ends by force, which does no harm either.
	if d.err != nil && !(d.killed() && (d.doomed || d.interrupted())) {
		t.Fatalf("the daemon stopped with %v", d.err)
	}
}

// await polls until met, and fails the test when that takes too long.
func await(t testing.TB, what string, met func() bool) {
	t.Helper()
	deadline := time.After(patience)
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for !met() {
		select {
		case <-deadline:
			t.Fatalf("waited in vain: %s", what)
		case <-tick.C:
		}
	}
}
