package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/rs/zerolog"

	"underbond/cmd/underbond/config"
	"underbond/cmd/underbond/service"
)

type serveCommand struct {
	Config string `name:"config" short:"c" type:"existingfile" required:"" help:"Configuration file." placeholder:"underbond.yaml"`
}

// Run runs the daemon until it is told to stop.
func (c *serveCommand) Run(ctx context.Context, io streams) error {
	conf, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	if err := conf.ResolveSecrets(os.Getenv); err != nil {
		return err
	}
	log := newLog(conf.Log, io.err)
	log.Info().Str("build", build()).Str("configuration", conf.Hash[:12]).Msg("underbond starts")
	s, err := service.Open(ctx, conf, service.Options{Build: build(), Log: log})
	if err != nil {
		return fmt.Errorf("start the daemon: %w", err)
	}
	err = s.Run(ctx)
	log.Info().Msg("underbond stops")
	return errors.Join(err, s.Close())
}

// newLog makes the daemon's log: one event a line.
func newLog(c config.Log, w io.Writer) zerolog.Logger {
	level, err := zerolog.ParseLevel(c.Level)
	if err != nil {
		level = zerolog.InfoLevel
	}
	if c.Format == "console" {
		w = zerolog.ConsoleWriter{Out: w, TimeFormat: time.TimeOnly}
	}
	return zerolog.New(w).Level(level).With().Timestamp().Logger()
}
