package service

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"underbond/cmd/underbond/config"
	"underbond/sql/migrations"
	"underbond/sql/server"
)

// private is the daemon's own Postgres, started again when it ends by itself.
type private struct {
	options server.Options
	log     zerolog.Logger
	url     string

	mu     sync.Mutex
	server *server.Server
}

// startPrivate starts the private server and brings its schema up to date as the owner;
// the daemon then connects with a login that has the service role only.
func startPrivate(ctx context.Context, c *config.Config, log zerolog.Logger) (*private, error) {
	p := &private{log: log, options: server.Options{Dir: c.Data, BinDir: c.Database.Binaries, Account: c.Database.Account,
		Log: func(line string) { log.Debug().Str("line", line).Msg("postgres") }}}
	began := time.Now()
	started, err := server.Start(ctx, p.options)
	if err != nil {
		return nil, err
	}
	p.server = started
	for _, w := range started.Warnings() {
		log.Warn().Msg(w)
	}
	if err := p.prepare(ctx, c.Database.RolePrefix); err != nil {
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 45*time.Second)
		defer cancel()
		if e := started.Stop(stop); e != nil {
			log.Error().Err(e).Msg("stop the private server")
		}
		return nil, err
	}
	log.Info().Str("data", started.DataFolder()).Dur("took", time.Since(began)).Msg("private server started")
	return p, nil
}

func (p *private) prepare(ctx context.Context, prefix string) error {
	if err := p.server.EnsureDatabase(ctx, Database, server.AdminRole); err != nil {
		return fmt.Errorf("prepare the private database: %w", err)
	}
	before, after, err := migrations.Up(ctx, p.server.AdminURLFor(Database), prefix)
	if err != nil {
		return err
	}
	if before != after {
		p.log.Info().Int64("from", before).Int64("to", after).Msg("schema migrated")
	}
	login := prefix + "_daemon"
	password, err := p.server.EnsureLogin(ctx, login, migrations.ServiceRole(prefix))
	if err != nil {
		return fmt.Errorf("prepare the daemon's login: %w", err)
	}
	p.url = p.server.URL(login, password, Database)
	return nil
}

// keep starts the server again when it ends by itself.
func (p *private) keep(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case err, ended := <-p.current().Exited():
			if !ended {
				return nil
			}
			p.log.Error().Err(err).Msg("the private server ended; starting it again")
		}
		// It has ended, but its folder is ours until it is given up.
		if err := p.current().Stop(ctx); err != nil {
			p.log.Warn().Err(err).Msg("give up the ended server's folder")
		}
		for wait := time.Second; ; wait = min(2*wait, time.Minute) {
			again, err := server.Start(ctx, p.options)
			if err == nil {
				p.mu.Lock()
				p.server = again
				p.mu.Unlock()
				p.log.Info().Msg("private server started again")
				break
			}
			p.log.Error().Err(err).Dur("retry_in", wait).Msg("the private server does not start")
			select {
			case <-ctx.Done():
				return nil
			case <-time.After(wait):
			}
		}
	}
}

func (p *private) current() *server.Server {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.server
}

func (p *private) psql() string { return p.current().PsqlCommand(Database) }

func (p *private) stop(ctx context.Context) error { return p.current().Stop(ctx) }
