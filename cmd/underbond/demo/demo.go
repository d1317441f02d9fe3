// Package demo runs the real daemon on the demo scenario: a survey of apple and pear
// spirits in an invented county, with trouble planted in it.
package demo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"underbond/cmd/underbond/config"
	"underbond/cmd/underbond/scenario"
	"underbond/cmd/underbond/service"
)

// Options say how the demo runs.
type Options struct {
	Folder string // made anew; see DefaultFolder
	Seed   uint64
	Once   bool // end after the scenario instead of serving on
	JSON   bool // report as one JSON object
	Build  string
	Pause  time.Duration // between the pieces that an instrument writes
	// Report gets what was released, held and refused; Progress how far it is.
	Report, Progress io.Writer
	// Done, when not nil, is called with the outcome before the daemon stops.
	Done func(context.Context, *scenario.Scenario, *Outcome) error
}

// errScenarioOver ends the daemon after the scenario.
var errScenarioOver = errors.New("the scenario is over")

// Run runs the demo until the scenario is over (Once) or ctx ends.
func Run(ctx context.Context, opt Options) error {
	p := newProgress(opt.Progress)
	s, err := scenario.Build(opt.Seed)
	if err != nil {
		return fmt.Errorf("build the scenario: %w", err)
	}
	path, err := prepare(opt.Folder, s)
	if err != nil {
		return err
	}
	conf, err := config.Load(path)
	if err != nil {
		return err
	}
	logFile, err := os.Create(filepath.Join(opt.Folder, "underbond.log"))
	if err != nil {
		return fmt.Errorf("open the log: %w", err)
	}
	defer logFile.Close()
	p.say("Underbond demo: an invented laboratory surveys apple and pear spirits of an invented county. All data are invented.")
	p.say("Starting a private Postgres in %s ...", conf.Data)
	svc, err := service.Open(ctx, conf, service.Options{Build: opt.Build, Log: zerolog.New(logFile).With().Timestamp().Logger()})
	if err != nil {
		return fmt.Errorf("start the demo: %w", err)
	}
	p.say("Instruments write into %s; the daemon's log is %s.", filepath.Join(opt.Folder, "exports"), logFile.Name())
	group, groupCtx := errgroup.WithContext(ctx)
	group.Go(func() error { return svc.Run(groupCtx) })
	group.Go(func() error {
		if err := play(groupCtx, svc, s, p, opt); err != nil {
			return err
		}
		if opt.Once {
			return errScenarioOver
		}
		p.say("The daemon keeps watching (http://%s/status). Stop it with Ctrl-C.", svc.Address())
		return nil
	})
	err = group.Wait()
	if errors.Is(err, errScenarioOver) || ctx.Err() != nil && errors.Is(err, context.Canceled) {
		err = nil
	}
	return errors.Join(err, svc.Close())
}

// play writes the scenario's files, waits until all is settled and reports.
func play(ctx context.Context, svc *service.Service, s *scenario.Scenario, p *progress, opt Options) error {
	lab := &laboratory{folder: opt.Folder, scenario: s, store: svc.Store, pause: opt.Pause, progress: p}
	began := time.Now()
	watched, stop := context.WithCancel(ctx)
	group, groupCtx := errgroup.WithContext(watched)
	group.Go(func() error {
		defer stop()
		if err := lab.work(groupCtx); err != nil {
			return err
		}
		return settle(groupCtx, svc, s)
	})
	var firstRelease time.Duration
	group.Go(func() error {
		for {
			c, err := svc.Store.Progress(groupCtx)
			if err == nil {
				p.count(c)
				if c.Released > 0 && firstRelease == 0 {
					firstRelease = time.Since(began)
				}
			}
			if wait(groupCtx, 150*time.Millisecond) != nil {
				return nil
			}
		}
	})
	if err := group.Wait(); err != nil {
		return err
	}
	p.end()
	outcome, err := collect(ctx, svc.Store)
	if err != nil {
		return err
	}
	outcome.FirstRelease = firstRelease
	outcome.Folder, outcome.Psql = opt.Folder, svc.Psql()
	if opt.JSON {
		if err := json.NewEncoder(opt.Report).Encode(outcome); err != nil {
			return fmt.Errorf("report the outcome: %w", err)
		}
	} else {
		outcome.report(opt.Report, s)
	}
	if opt.Done != nil {
		return opt.Done(ctx, s, outcome)
	}
	return nil
}

// settle waits until every file has come to its end state and every batch is evaluated.
func settle(ctx context.Context, svc *service.Service, s *scenario.Scenario) error {
	files := len(s.Documents)
	for range s.Steps {
		files++
	}
	quiet := 0
	for quiet < 5 {
		c, err := svc.Store.Progress(ctx)
		if err != nil {
			return err
		}
		if c.Recorded+c.Refused+c.Waiting >= files && c.Open == 0 && c.Due == 0 {
			quiet++
		} else {
			quiet = 0
		}
		if err := wait(ctx, 200*time.Millisecond); err != nil {
			return err
		}
	}
	return nil
}
