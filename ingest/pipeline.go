// Package ingest moves files along: from a watched folder into custody, from custody
// into the record, and from the record to verdicts and released results. Custody needs
// no database; what follows waits until the database is there.
package ingest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"underbond/ingest/custody"
	"underbond/ingest/record"
	"underbond/ingest/watch"
	"underbond/parsers"
)

// Root is a watched folder as configured.
type Root struct {
	Watch watch.Root
	Holds string // record.HoldsExports or record.HoldsDocuments
	// Format is "auto" or a format's name; Profile names a profile for delimited exports;
	// Encoding is the code page of unmarked text.
	Format, Profile, Encoding string
	// Method names the method to reduce for before a worklist is there; may be empty.
	Method string
	Zone   *time.Location // of the instrument PC
}

// Options configure a pipeline.
type Options struct {
	Roots   []Root
	Archive *custody.Archive
	Journal *custody.Journal
	Store   Store
	Log     zerolog.Logger
	Limits  parsers.Limits

	Watch        watch.Options // quiet period, scans; roots and callbacks are filled in
	Workers      int           // files read at a time; 0 means 2
	CloseIdle    time.Duration // open batches without change for so long are closed; 0 means 72 h
	AnchorEvery  time.Duration // 0 means 10 min
	Poll         time.Duration // longest wait before looking for work; 0 means 1 s
	Architecture string        // of this build, recorded with evaluations
}

// Pipeline is the running service without its doors.
type Pipeline struct {
	opt      Options
	daemon   string
	roots    map[string]*Root
	watcher  *watch.Watcher
	profiles profileCache
	now      func() time.Time

	arrived, work, due wake // hints that there is something to do

	alone sync.RWMutex // held for writing while a suspect file is read

	mu    sync.Mutex
	state State
}

// State is what the pipeline says of itself.
type State struct {
	// Halted says why nothing is evaluated or released; empty when all is well.
	Halted string `json:"halted,omitempty"`
	// Trouble is the last fault of the database or the archive; empty when the last try went well.
	Trouble string            `json:"trouble,omitempty"`
	Roots   []watch.RootState `json:"roots"`
}

// maxAttempts bounds how often reading a file is begun: a file that ends the process
// each time must not stop all others.
const maxAttempts = 3

// lease is how long a claim holds before another worker may take it over.
const lease = 15 * time.Minute

// New makes a pipeline. Nothing runs before Run.
func New(opt Options) (*Pipeline, error) {
	if opt.Workers == 0 {
		opt.Workers = 2
	}
	setDuration(&opt.CloseIdle, 72*time.Hour)
	setDuration(&opt.AnchorEvery, 10*time.Minute)
	setDuration(&opt.Poll, time.Second)
	p := &Pipeline{opt: opt, daemon: opt.Archive.ID(), roots: map[string]*Root{}, now: time.Now,
		arrived: newWake(), work: newWake(), due: newWake()}
	p.profiles.pipeline = p
	w := opt.Watch
	for i := range opt.Roots {
		r := &p.opt.Roots[i]
		p.roots[r.Watch.Name] = r
		w.Roots = append(w.Roots, r.Watch)
	}
	known, err := watch.KnownFrom(opt.Journal)
	if err != nil {
		return nil, err
	}
	w.Known, w.Take, w.Prover, w.Report = known, p.take, p, p.report
	p.watcher, err = watch.New(w)
	if err != nil {
		return nil, fmt.Errorf("prepare the watched folders: %w", err)
	}
	return p, nil
}

// Run works until ctx ends, and returns when everything has stopped. Custody comes
// first and never waits for the database.
func (p *Pipeline) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return p.watcher.Run(ctx) })
	group.Go(func() error {
		if err := p.admit(ctx); err != nil {
			return err
		}
		rest, ctx := errgroup.WithContext(ctx)
		rest.Go(func() error { return p.loop(ctx, "register", p.arrived, p.register) })
		for range p.opt.Workers {
			rest.Go(func() error { return p.loop(ctx, "read", p.work, p.readNext) })
		}
		if p.State().Halted == "" {
			rest.Go(func() error { return p.loop(ctx, "evaluate", p.due, p.evaluateDue) })
		}
		rest.Go(func() error { return p.keepHouse(ctx) })
		return rest.Wait()
	})
	err := group.Wait()
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	p.lastAnchor()
	return err
}

// State is a snapshot for health pages.
func (p *Pipeline) State() State {
	p.mu.Lock()
	defer p.mu.Unlock()
	s := p.state
	s.Roots = p.watcher.State()
	return s
}

// loop calls step until it finds nothing to do, then waits for a hint or a while. An
// error of the database or the archive is retried with growing pauses, and logged once
// a try.
func (p *Pipeline) loop(ctx context.Context, name string, hint wake, step func(context.Context) (bool, error)) error {
	wait := p.opt.Poll
	for {
		more, err := step(ctx)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			wait = min(max(2*wait, time.Second), time.Minute)
			p.trouble(name, err, wait)
			if err := sleep(ctx, wait); err != nil {
				return err
			}
			continue
		}
		wait = p.opt.Poll
		if more {
			continue
		}
		if err := hint.wait(ctx, wait); err != nil {
			return err
		}
	}
}

func (p *Pipeline) trouble(name string, err error, wait time.Duration) {
	p.opt.Log.Error().Err(err).Str("step", name).Dur("retry_in", wait).Msg("step failed, will be tried again")
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state.Trouble = err.Error()
}

func (p *Pipeline) well() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state.Trouble = ""
}

// wake is a hint that there is work; hints given meanwhile are one.
type wake chan struct{}

func newWake() wake { return make(wake, 1) }

func (w wake) hint() {
	select {
	case w <- struct{}{}:
	default:
	}
}

func (w wake) wait(ctx context.Context, longest time.Duration) error {
	timer := time.NewTimer(longest)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-w:
	case <-timer.C:
	}
	return nil
}

func sleep(ctx context.Context, d time.Duration) error { return make(wake).wait(ctx, d) }

func setDuration(d *time.Duration, value time.Duration) {
	if *d == 0 {
		*d = value
	}
}

// root is the configured root of that name; files of one that is no longer configured have no instrument.
func (p *Pipeline) root(name string) *Root {
	if r, there := p.roots[name]; there {
		return r
	}
	return &Root{Holds: record.HoldsExports, Zone: time.UTC}
}
