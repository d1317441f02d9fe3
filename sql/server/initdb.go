package server

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os/exec"
	"path"
	"runtime"
	"strings"
)

const unfinished = "data.new-"

// initdb makes the cluster under another name and renames it when it is
// complete, so that an interrupted one never looks like a cluster. What an
// interrupted one left is removed; it never held anything.
func (c *cluster) initdb(ctx context.Context) error {
	if err := c.removeUnfinished(); err != nil {
		return err
	}
	var b [4]byte
	rand.Read(b[:])
	next := path.Join(c.home, unfinished+hex.EncodeToString(b[:]))
	args := []string{
		"-D", c.folder.abs(next), "-U", AdminRole, "-A", "scram-sha-256",
		"--pwfile=" + c.folder.abs(c.secrets.name(AdminRole)),
		"-E", "UTF8", "--data-checksums", "--no-instructions",
	}
	args = append(args, localeArgs(runtime.GOOS, c.install.Major)...)
	if c.volatile {
		args = append(args, "--no-sync")
	}
	cmd := exec.Command(program(c.install.Dir, "initdb"), args...)
	c.prepare(cmd)
	p, err := launch(cmd, c.log)
	if err == nil {
		select {
		case <-p.done:
			err = p.err
		case <-ctx.Done():
			err = errors.Join(context.Cause(ctx), p.signal(kill))
			<-p.done
		}
	}
	if err != nil {
		err = &ProgramError{Doing: "initialise the database", Err: err, Log: p.tail()}
		return errors.Join(err, c.removeUnfinished())
	}
	if err := c.folder.root.Rename(next, path.Join(c.home, "data")); err != nil {
		return fmt.Errorf("put the new database in place: %w", err)
	}
	return c.folder.sync(c.home)
}

func (c *cluster) removeUnfinished() error {
	entries, err := fs.ReadDir(c.folder.root.FS(), c.home)
	if err != nil {
		return fmt.Errorf("look for an interrupted initialisation: %w", err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), unfinished) {
			continue
		}
		if err := c.folder.root.RemoveAll(path.Join(c.home, e.Name())); err != nil {
			return fmt.Errorf("remove an interrupted initialisation: %w", err)
		}
	}
	return nil
}

// localeArgs asks for one sort order everywhere, by code point, and English messages.
func localeArgs(goos string, major int) []string {
	switch {
	case goos == "linux":
		return []string{"--locale=C.UTF-8"}
	case major >= 17:
		return []string{"--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"}
	default:
		return []string{"--locale=C"}
	}
}
