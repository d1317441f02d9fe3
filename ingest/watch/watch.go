package watch

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
)

const (
	// shortestPause is the least time between two scans of a root.
	shortestPause = 250 * time.Millisecond
	// pauseFactor makes the pause at least that many times as long as the scan, so
	// that a root in which something always happens does not use up a core.
	pauseFactor = 4
	// stopGrace is how long Run waits for a scan that hangs in the system.
	stopGrace = 10 * time.Second
)

// Watcher watches roots. Make it with New; then either Run it, or call Scan.
type Watcher struct {
	opts  *Options
	roots []*root
}

// New checks the options. It does not look at the roots: one that is offline is
// a state, not an error.
func New(opts Options) (*Watcher, error) {
	opts.Roots = slices.Clone(opts.Roots)
	if err := opts.complete(); err != nil {
		return nil, fmt.Errorf("set up watching: %w", err)
	}
	w := &Watcher{opts: &opts}
	byName := map[string]*root{}
	for _, r := range opts.Roots {
		added := newRoot(r, &opts)
		w.roots = append(w.roots, added)
		byName[r.Name] = added
	}
	for _, k := range opts.Known {
		if r := byName[k.Root]; r != nil { // a root that is no longer watched
			r.know(k)
		}
	}
	return w, nil
}

// Scan scans every root once, one after the other. It returns an error only when
// the context ends. It is for tests and single runs; not beside Run.
func (w *Watcher) Scan(ctx context.Context) error {
	for _, r := range w.roots {
		if err := r.scan(ctx); err != nil {
			return fmt.Errorf("scan root %q: %w", r.Name, err)
		}
	}
	return nil
}

// Run watches until the context ends, each root in a goroutine of its own, so
// that a slow or hanging one does not stop the others. It returns nil, or an
// error that names the roots whose scan hangs in the system and was left behind.
func (w *Watcher) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	var mu sync.Mutex
	running := map[string]bool{}
	for _, r := range w.roots {
		running[r.Name] = true
		wg.Go(func() {
			r.run(ctx)
			mu.Lock()
			defer mu.Unlock()
			delete(running, r.Name)
		})
	}
	done := make(chan struct{})
	go func() {
		wg.Wait()
		close(done)
	}()
	<-ctx.Done()
	select {
	case <-done:
		return nil
	case <-time.After(stopGrace):
	}
	mu.Lock()
	defer mu.Unlock()
	var names []string
	for name := range running {
		names = append(names, name)
	}
	if len(names) == 0 {
		return nil
	}
	slices.Sort(names)
	return fmt.Errorf("stop watching: the system does not answer for %s", strings.Join(names, ", "))
}

// run scans the root again and again until the context ends.
func (r *root) run(ctx context.Context) {
	defer r.startHints()()
	for {
		begun := time.Now()
		if r.scan(ctx) != nil {
			return
		}
		pause := max(shortestPause, pauseFactor*time.Since(begun))
		if !sleep(ctx, pause, nil) || !sleep(ctx, r.untilNext()-pause, r.wake()) {
			return
		}
	}
}

// untilNext is when the next scan is due though nothing is told.
func (r *root) untilNext() time.Duration {
	r.scanning.Lock()
	defer r.scanning.Unlock()
	next := r.opts.ScanEvery
	now := r.opts.Now()
	for _, f := range r.files {
		switch {
		case f.rehashDue(now) && !f.blocked:
			return 0
		case f.present && !f.taken && f.unchanged() < r.opts.Quiet:
			next = min(next, r.opts.Quiet-now.Sub(f.since))
		}
	}
	return next
}

func (r *root) wake() <-chan struct{} {
	if r.hints == nil {
		return nil
	}
	return r.hints.wake
}

// sleep waits for the time to pass or a wake-up and says whether to go on.
func sleep(ctx context.Context, d time.Duration, wake <-chan struct{}) bool {
	timer := time.NewTimer(max(d, 0))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
	case <-wake:
	}
	return true
}
