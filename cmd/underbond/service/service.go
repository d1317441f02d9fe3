// Package service wires the rooms into the daemon: configuration, private server or
// given database, archive, pipeline and the health door. The serve and demo commands
// and the end-to-end tests run the same service.
package service

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"underbond/cmd/underbond/api"
	"underbond/cmd/underbond/config"
	"underbond/ingest"
	"underbond/ingest/custody"
	"underbond/ingest/record"
	"underbond/ingest/watch"
	"underbond/sql/migrations"
	"underbond/sql/store"
)

// Database is the name of the database on the private server.
const Database = "underbond"

// Service is an opened daemon. Close it after Run.
type Service struct {
	Config  *config.Config
	Store   *store.Store
	Archive *custody.Archive

	log      zerolog.Logger
	lock     *custody.DirLock
	journal  *custody.Journal
	private  *private // nil when a database URL is given
	pipeline *ingest.Pipeline
	doors    *api.Server
}

// Options are what the configuration does not say.
type Options struct {
	Build string // version of the program, for the ledger
	Log   zerolog.Logger
}

// Open takes the data folder's lock, starts the private server if there is no database
// URL, and prepares everything. A database that is away does not stop it; a schema that
// this program does not know does.
func Open(ctx context.Context, c *config.Config, opt Options) (s *Service, err error) {
	s = &Service{Config: c, log: opt.Log}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	// Passable, so that the account of the private server reaches its own folder in it; what
	// lies inside is private by itself.
	if err = os.MkdirAll(c.Data, 0o711); err != nil {
		return s, fmt.Errorf("make the data folder: %w", err)
	}
	if s.lock, err = custody.LockDir(c.Archive); err != nil {
		return s, fmt.Errorf("lock the archive folder: %w", err)
	}
	if s.Archive, err = custody.OpenArchive(filepath.Join(c.Archive, "store")); err != nil {
		return s, fmt.Errorf("open the archive: %w", err)
	}
	var torn *custody.Torn
	if s.journal, torn, err = custody.OpenJournal(filepath.Join(c.Archive, "journal", "arrivals")); err != nil {
		return s, fmt.Errorf("open the journal: %w", err)
	}
	if torn != nil {
		s.log.Warn().Interface("torn", torn).Msg("the journal's last write was interrupted; nothing that was acknowledged is lost")
	}
	url := c.Database.URL
	if c.Private() {
		if s.private, err = startPrivate(ctx, c, s.log); err != nil {
			return s, err
		}
		url = s.private.url
	}
	host, _ := os.Hostname()
	s.Store, err = store.Open(ctx, store.Options{URL: url, Prefix: c.Database.RolePrefix, Log: s.log,
		Actor: fmt.Sprintf("underbond@%s build %s configuration %.12s", host, opt.Build, c.Hash)})
	if err != nil {
		return s, err
	}
	switch err := s.Store.Check(ctx); {
	case errors.Is(err, migrations.ErrSchema):
		return s, err
	case err != nil:
		s.log.Error().Err(err).Msg("the database does not answer; files are taken into custody and wait")
	}
	if err := s.prepare(); err != nil {
		return s, err
	}
	if c.HTTP.Address != "off" {
		if s.doors, err = api.Listen(c.HTTP.Address, s); err != nil {
			return s, err
		}
	}
	return s, nil
}

func (s *Service) prepare() (err error) {
	c := s.Config
	opt := ingest.Options{Archive: s.Archive, Journal: s.journal, Store: s.Store, Log: s.log, CloseIdle: c.Batches.CloseTime,
		Architecture: runtime.GOARCH,
		Watch: watch.Options{Quiet: c.Watch.Times.Quiet, IncompleteAfter: c.Watch.Times.IncompleteAfter, ScanEvery: c.Watch.Times.ScanEvery,
			RehashEvery: c.Watch.Times.RehashEvery, PollOnly: c.Watch.PollOnly}}
	for _, f := range c.Folders {
		holds := record.HoldsExports
		if f.Holds == record.HoldsDocuments {
			holds = record.HoldsDocuments
		}
		opt.Roots = append(opt.Roots, ingest.Root{Holds: holds, Format: f.Format, Profile: f.Profile, Encoding: f.Encoding, Method: f.Method, Zone: f.Location,
			Watch: watch.Root{Name: f.Name, Path: f.Path, Instrument: f.Instrument, Include: f.Include, Ignore: f.Ignore, Marker: f.Marker}})
	}
	s.pipeline, err = ingest.New(opt)
	return err
}

// Run works until ctx ends.
func (s *Service) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	if s.private != nil {
		group.Go(func() error { return s.private.keep(ctx) })
	}
	if s.doors != nil {
		s.log.Info().Str("address", s.doors.Address()).Msg("listening")
		group.Go(func() error { return s.doors.Run(ctx) })
	}
	group.Go(func() error { return s.pipeline.Run(ctx) })
	s.log.Info().Int("folders", len(s.Config.Folders)).Str("archive", s.Config.Archive).Msg("watching")
	return group.Wait()
}

// Health implements api.Subject: whether the database answers.
func (s *Service) Health(ctx context.Context) error { return s.Store.Check(ctx) }

// State implements api.Subject.
func (s *Service) State() any { return s.pipeline.State() }

// Halted implements api.Subject.
func (s *Service) Halted() string { return s.pipeline.State().Halted }

// Psql is a command line that connects a person to the private database; empty when the
// database is given by URL.
func (s *Service) Psql() string {
	if s.private == nil {
		return ""
	}
	return s.private.psql()
}

// Address is where the health door listens; empty when there is none.
func (s *Service) Address() string {
	if s.doors == nil {
		return ""
	}
	return s.doors.Address()
}

// Close stops what Open started, in reverse order.
func (s *Service) Close() error {
	var errs []error
	if s.Store != nil {
		s.Store.Close()
	}
	if s.private != nil {
		ctx, cancel := context.WithTimeout(context.Background(), 45*time.Second)
		defer cancel()
		errs = append(errs, s.private.stop(ctx))
	}
	if s.journal != nil {
		errs = append(errs, s.journal.Close())
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Unlock())
	}
	return errors.Join(errs...)
}
