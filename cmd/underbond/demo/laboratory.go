package demo

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"underbond/cmd/underbond/scenario"
	"underbond/sql/store"
)

// laboratory writes the scenario's files as people and instruments would.
type laboratory struct {
	folder   string
	scenario *scenario.Scenario
	store    *store.Store
	pause    time.Duration // between the pieces that an instrument writes
	progress *progress
}

// work writes documents and exports; an export that needs released results waits for them.
func (l *laboratory) work(ctx context.Context) error {
	total := len(l.scenario.Documents) + len(l.scenario.Steps)
	for i, d := range l.scenario.Documents {
		l.progress.written(i+1, total, "documents/"+d.File)
		if err := l.document(d); err != nil {
			return err
		}
	}
	for i, step := range l.scenario.Steps {
		l.progress.written(len(l.scenario.Documents)+i+1, total, step.Instrument+"/"+step.File)
		if err := l.await(ctx, step.WaitFor); err != nil {
			return err
		}
		if err := l.export(ctx, step); err != nil {
			return err
		}
	}
	return nil
}

// document is written under a temporary name and renamed, as editors do.
func (l *laboratory) document(d scenario.Document) error {
	path := filepath.Join(l.folder, "documents", filepath.FromSlash(d.File))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("make the folder of %s: %w", d.File, err)
	}
	if err := os.WriteFile(path+".tmp", d.Data, 0o644); err != nil {
		return fmt.Errorf("write %s: %w", d.File, err)
	}
	if err := os.Rename(path+".tmp", path); err != nil {
		return fmt.Errorf("rename %s: %w", d.File, err)
	}
	return nil
}

// export is written in pieces under its final name, as instruments do.
func (l *laboratory) export(ctx context.Context, step scenario.Step) (err error) {
	path := filepath.Join(l.folder, "exports", step.Instrument, step.File)
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return fmt.Errorf("create the export: %w", err)
	}
	defer func() {
		if e := file.Close(); err == nil && e != nil {
			err = fmt.Errorf("close the export: %w", e)
		}
	}()
	for _, piece := range step.Pieces() {
		if _, err := file.Write(piece); err != nil {
			return fmt.Errorf("write the export: %w", err)
		}
		if err := wait(ctx, l.pause); err != nil {
			return err
		}
	}
	return nil
}

// await returns when all the results are released.
func (l *laboratory) await(ctx context.Context, keys []scenario.Key) error {
	if len(keys) == 0 {
		return nil
	}
	var samples, analytes, bases []string
	for _, k := range keys {
		samples, analytes, bases = append(samples, k.Sample), append(analytes, k.Analyte), append(bases, k.Basis)
	}
	for {
		n, err := l.store.CountReleased(ctx, samples, analytes, bases)
		if err != nil || n == len(keys) {
			return err
		}
		l.progress.note(fmt.Sprintf("%d of %d results that come first are released (%s)", n, len(keys), strings.Join(first(samples), ", ")))
		if err := wait(ctx, 200*time.Millisecond); err != nil {
			return err
		}
	}
}

func first(list []string) []string { return list[:min(1, len(list))] }

func wait(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
