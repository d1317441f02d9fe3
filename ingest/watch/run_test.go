package watch

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/fsnotify/fsnotify"

	"underbond/ingest/custody"
)

// live runs a watcher with the real clock and gives what it takes.
func live(t *testing.T, roots []Root, change func(*Options)) (w *Watcher, taken chan string, events chan Event) {
	t.Helper()
	taken, events = make(chan string, 1000), make(chan Event, 1000)
	opts := Options{
		Roots: roots, Quiet: time.Millisecond, ScanEvery: 24 * time.Hour,
		Take: func(ctx context.Context, batch []Candidate) []Outcome {
			outcomes := make([]Outcome, len(batch))
			for i, c := range batch {
				outcomes[i].Hash, _, outcomes[i].Err = custody.Digest(ctx, c.Source())
				taken <- c.Root + "/" + string(c.Path)
			}
			return outcomes
		},
		Report: func(e Event) { events <- e },
	}
	if change != nil {
		change(&opts)
	}
	w, err := New(opts)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return w, taken, events
}

// await gives the next value, or fails when none comes.
func await[T any](t *testing.T, c <-chan T) T {
	t.Helper()
	select {
	case v := <-c:
		return v
	case <-time.After(time.Minute):
		t.Fatal("nothing came")
		panic("unreachable")
	}
}

func awaitEvent(t *testing.T, events <-chan Event, kind EventKind) Event {
	t.Helper()
	for {
		if e := await(t, events); e.Kind == kind {
			return e
		}
	}
}

func put(t *testing.T, path string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(path), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestNotificationsBringTheScanForward has a scan interval that the test does not
// live to see.
func TestNotificationsBringTheScanForward(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if why := silent(dir); why != "" {
		t.Skip(why)
	}
	w, taken, events := live(t, []Root{{Name: "uv", Path: dir}}, nil)
	awaitEvent(t, events, EventOnline)
	for _, rel := range []string{"a.csv", "new/deep/folder/b.csv", "new/deep/folder/c.csv", "new/d.csv"} {
		put(t, filepath.Join(dir, filepath.FromSlash(rel)))
		if got := await(t, taken); got != "uv/"+rel {
			t.Fatalf("taken %q, want %q", got, rel)
		}
	}
	// A folder made anew under its old name needs a new watch.
	if err := os.RemoveAll(filepath.Join(dir, "new")); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(dir, "new", "e.csv"))
	if got := await(t, taken); got != "uv/new/e.csv" {
		t.Fatalf("taken %q", got)
	}
	put(t, filepath.Join(dir, "new", "f.csv"))
	if got := await(t, taken); got != "uv/new/f.csv" {
		t.Fatalf("taken %q", got)
	}
	if s := w.State()[0]; s.Polling != "" || s.Status != StatusOnline {
		t.Errorf("state %+v", s)
	}
}

func TestLostNotificationsBringAScan(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if why := silent(dir); why != "" {
		t.Skip(why)
	}
	w, taken, events := live(t, []Root{{Name: "uv", Path: dir}}, nil)
	put(t, filepath.Join(dir, "a.csv"))
	await(t, taken)
	r := w.roots[0]
	r.mu.Lock()
	h := r.hints
	r.mu.Unlock()
	for _, path := range h.watcher.WatchList() { // from here on nothing is told
		if err := h.watcher.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
	put(t, filepath.Join(dir, "b.csv"))
	h.watcher.Errors <- fsnotify.ErrEventOverflow
	awaitEvent(t, events, EventOverflow)
	if got := await(t, taken); got != "uv/b.csv" {
		t.Errorf("taken %q", got)
	}
	if s := w.State()[0]; s.Overflows != 1 {
		t.Errorf("%d overflows", s.Overflows)
	}
}

func TestPollingSaysWhy(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	w, taken, events := live(t, []Root{{Name: "uv", Path: dir}}, func(o *Options) { o.PollOnly, o.ScanEvery = true, time.Millisecond })
	awaitEvent(t, events, EventOnline)
	put(t, filepath.Join(dir, "sub", "a.csv"))
	if got := await(t, taken); got != "uv/sub/a.csv" {
		t.Errorf("taken %q", got)
	}
	if s := w.State()[0]; !strings.Contains(s.Polling, "switched off") {
		t.Errorf("state %+v", s)
	}
}

func TestNoRoomForAWatchIsToldAndScansGoOn(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	r := b.w.roots[0]
	defer r.startHints()()
	if r.hints == nil {
		t.Skipf("no notifications here: %s", b.state().Polling)
	}
	if err := r.hints.watcher.Close(); err != nil { // now each attempt fails
		t.Fatal(err)
	}
	b.write("deep/below/a.csv", "1")
	b.settle()
	b.want(map[string][]string{"deep/below/a.csv": {"1"}})
	b.wantEvents(EventOnline, EventPolling)
	if s := b.state(); s.Polling == "" {
		t.Errorf("state %+v", s)
	}
}

func TestAStuckRootDoesNotStopAnother(t *testing.T) {
	t.Parallel()
	slow, good := t.TempDir(), t.TempDir()
	put(t, filepath.Join(slow, "a.csv"))
	put(t, filepath.Join(good, "b.csv"))
	stuck := make(chan struct{})
	w, taken, _ := live(t, []Root{{Name: "slow", Path: slow}, {Name: "good", Path: good}}, func(o *Options) {
		take := o.Take
		o.Take = func(ctx context.Context, batch []Candidate) []Outcome {
			if batch[0].Root == "slow" {
				close(stuck)
				<-ctx.Done()
				return nil
			}
			return take(ctx, batch)
		}
	})
	await(t, stuck)
	if got := await(t, taken); got != "good/b.csv" {
		t.Errorf("taken %q", got)
	}
	s := w.State()[0]
	if s.ScanStarted.IsZero() || s.SettlingTotal != 1 {
		t.Errorf("state of the stuck root %+v", s)
	}
}
