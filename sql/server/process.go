package server

import (
	"bytes"
	"os/exec"
	"runtime"
	"slices"
	"sync"
	"time"
)

// how is a way to end a server, from polite to hard.
type how int

const (
	fast      how = iota // roll back, checkpoint, end
	immediate            // end now, recover at the next start
	kill                 // the kernel ends it
)

// process is a running PostgreSQL program.
type process struct {
	cmd  *exec.Cmd
	out  *lines
	done chan struct{} // closed when it has ended
	err  error         // how it ended; read after done
}

// launch starts a program and watches it. Parent-death signals belong to the
// thread that started the child, so one thread starts it and waits for it.
func launch(cmd *exec.Cmd, log func(string)) (*process, error) {
	p := &process{cmd: cmd, out: &lines{log: log}, done: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = p.out, p.out
	// A killed postmaster's children keep the pipe open a moment longer.
	cmd.WaitDelay = 5 * time.Second
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread()
		err := cmd.Start()
		started <- err
		if err != nil {
			return
		}
		p.err = cmd.Wait()
		p.out.flush()
		close(p.done)
	}()
	return p, <-started
}

func (p *process) pid() int { return p.cmd.Process.Pid }

func (p *process) tail() []string { return p.out.tail() }

// lines passes output on line by line and remembers the last few.
type lines struct {
	log func(string)

	mu   sync.Mutex
	part []byte
	last []string
}

const (
	keptLines   = 12
	longestLine = 64 << 10 // bytes; a longer line is cut in pieces
)

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.part = append(l.part, b...)
	for {
		line, rest, found := bytes.Cut(l.part, []byte("\n"))
		if !found && len(l.part) < longestLine {
			return len(b), nil
		}
		l.emit(string(bytes.TrimRight(line, "\r")))
		l.part = rest
	}
}

func (l *lines) flush() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.part) > 0 {
		l.emit(string(l.part))
		l.part = nil
	}
}

func (l *lines) emit(line string) {
	l.last = append(l.last, line)
	if len(l.last) > keptLines {
		l.last = slices.Delete(l.last, 0, len(l.last)-keptLines)
	}
	if l.log != nil {
		l.log(line)
	}
}

func (l *lines) tail() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.last)
}
