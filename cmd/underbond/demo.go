package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"underbond/cmd/underbond/demo"
)

type demoCommand struct {
	Once bool   `name:"once" help:"End after the scenario instead of serving on until Ctrl-C."`
	Data string `name:"data" help:"Folder for the demo's data; an earlier demo in it is replaced. Default: underbond-demo in the current folder." placeholder:"DIR"`
	JSON bool   `name:"json" help:"Print the outcome as one JSON object."`
	Seed uint64 `name:"seed" default:"1" help:"Seed of the invented data."`
}

// Run runs the demo.
func (c *demoCommand) Run(ctx context.Context, io streams) error {
	folder := c.Data
	if folder == "" {
		var err error
		if folder, err = demo.DefaultFolder(); err != nil {
			return err
		}
	}
	folder, err := filepath.Abs(folder)
	if err != nil {
		return fmt.Errorf("find the demo folder: %w", err)
	}
	return demo.Run(ctx, demo.Options{Folder: folder, Seed: c.Seed, Once: c.Once, JSON: c.JSON, Build: build(), Pause: 15 * time.Millisecond, Report: io.out, Progress: io.err})
}
