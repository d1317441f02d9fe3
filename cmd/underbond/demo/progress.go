package demo

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"underbond/sql/store"
)

// progress shows how far the demo is: one line that changes on a terminal, a line now
// and then elsewhere.
type progress struct {
	out      io.Writer
	terminal bool
	began    time.Time

	mu          sync.Mutex
	done, total int
	what, extra string
	counts      store.Progress
	last        time.Time
	width       int
}

func newProgress(out io.Writer) *progress {
	p := &progress{out: out, began: time.Now()}
	if f, ok := out.(*os.File); ok {
		info, err := f.Stat()
		p.terminal = err == nil && info.Mode()&os.ModeCharDevice != 0
	}
	return p
}

// say prints a line of its own.
func (p *progress) say(format string, args ...any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.erase()
	fmt.Fprintf(p.out, format+"\n", args...)
}

func (p *progress) written(done, total int, what string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done, p.total, p.what, p.extra = done, total, what, ""
	p.show(false)
}

func (p *progress) note(extra string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.extra = extra
	p.show(false)
}

func (p *progress) count(c store.Progress) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.counts = c
	p.show(false)
}

// end leaves the last state standing.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.show(true)
	if p.terminal {
		fmt.Fprintln(p.out)
		p.width = 0
	}
}

func (p *progress) show(force bool) {
	every := 3 * time.Second
	if p.terminal {
		every = 50 * time.Millisecond
	}
	if now := time.Now(); force || now.Sub(p.last) >= every {
		p.last = now
	} else {
		return
	}
	line := fmt.Sprintf("%5.1f s  written %d of %d files, recorded %d, refused %d, waiting %d; results released %d, held %d", time.Since(p.began).Seconds(),
		p.done, p.total, p.counts.Recorded, p.counts.Refused, p.counts.Waiting, p.counts.Released, p.counts.Held)
	if p.extra != "" {
		line += "; " + p.extra
	}
	if !p.terminal {
		fmt.Fprintln(p.out, line)
		return
	}
	line = cut(line, 118)
	p.erase()
	fmt.Fprint(p.out, line)
	p.width = len([]rune(line))
}

// erase blanks the changing line.
func (p *progress) erase() {
	if p.width > 0 {
		fmt.Fprintf(p.out, "\r%s\r", strings.Repeat(" ", p.width))
		p.width = 0
	}
}

func cut(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}
