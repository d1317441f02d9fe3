package main

import (
	"context"
	"fmt"
	"os"

	"underbond/cmd/underbond/config"
	"underbond/sql/migrations"
	"underbond/sql/server"

	"underbond/cmd/underbond/service"
)

type migrateCommand struct {
	Config string `name:"config" short:"c" type:"existingfile" required:"" help:"Configuration file." placeholder:"underbond.yaml"`
	JSON   bool   `name:"json" help:"Print JSON."`
}

// Run migrates the configured database, or the private server's.
func (c *migrateCommand) Run(ctx context.Context, io streams) error {
	conf, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	if err := conf.ResolveSecrets(os.Getenv); err != nil {
		return err
	}
	url := conf.Database.MigrateURL
	if conf.Private() {
		private, err := server.Start(ctx, server.Options{Dir: conf.Data, BinDir: conf.Database.Binaries, Account: conf.Database.Account})
		if err != nil {
			return fmt.Errorf("start the private server: %w", err)
		}
		defer func() {
			if err := private.Stop(context.WithoutCancel(ctx)); err != nil {
				fmt.Fprintln(io.err, "underbond: stop the private server:", err)
			}
		}()
		if err := private.EnsureDatabase(ctx, service.Database, server.AdminRole); err != nil {
			return fmt.Errorf("prepare the private database: %w", err)
		}
		url = private.AdminURLFor(service.Database)
	}
	before, after, err := migrations.Up(ctx, url, conf.Database.RolePrefix)
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(io.out, map[string]int64{"from": before, "to": after})
	}
	if before == after {
		_, err = fmt.Fprintf(io.out, "The schema is at version %d already.\n", after)
	} else {
		_, err = fmt.Fprintf(io.out, "The schema went from version %d to %d.\n", before, after)
	}
	return err
}
