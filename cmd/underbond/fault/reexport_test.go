package fault

import (
	"os"
	"testing"
	"time"
)

// rewrite replaces a file's bytes in place by as many others and gives it back its old
// modification time.
func (l *lab) rewrite(d drop) {
	l.t.Helper()
	path := l.path(d)
	before, err := os.Stat(path)
	if err != nil {
		l.t.Fatal(err)
	}
	if before.Size() != int64(len(d.Bytes)) {
		l.t.Fatalf("%s has %d bytes, the new content %d", d.Path, before.Size(), len(d.Bytes))
	}
	if err := l.ledger.enter(d); err != nil {
		l.t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		l.t.Fatal(err)
	}
	if _, err := f.WriteAt(d.Bytes, 0); err != nil {
		l.t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		l.t.Fatal(err)
	}
	if err := os.Chtimes(path, time.Time{}, before.ModTime()); err != nil {
		l.t.Fatal(err)
	}
}

// TestSilentReExport: a file is overwritten with other bytes under its old size and
// modification time. That is a revision like any other.
func TestSilentReExport(t *testing.T) {
	t.Parallel()
	want := reference(t)
	for name, away := range map[string]bool{"while the daemon runs": false, "while it does not": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l := quickLab(t)
			l.silently(away)
			l.check(want)
		})
	}
}

// silently plays all phases and makes the corrections by rewriting in place.
func (l *lab) silently(away bool, env ...string) {
	l.t.Helper()
	all := phases(l.t)
	l.drop(all[0])
	l.start(env...)
	l.rest()
	for _, phase := range all[1:] {
		if away {
			l.stop()
		}
		for _, d := range phase {
			l.rewrite(d)
		}
		if away {
			l.start(env...)
		}
		l.rest()
	}
	l.stop()
}
