package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// deadPID is a process number that no system hands out.
const deadPID = 1<<31 - 2

// postmasterPID reads the first line of a postmaster.pid; ok is false when it holds no process number.
func postmasterPID(text string) (pid int, ok bool) {
	line, _, _ := strings.Cut(text, "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(line))
	return pid, err == nil && pid > 0
}

// ownsData says whether a command line is that of a server of the data folder.
func ownsData(args []string, data string) bool {
	if len(args) == 0 {
		return false
	}
	switch strings.TrimSuffix(strings.ToLower(filepath.Base(args[0])), ".exe") {
	case "postgres", "postmaster":
	default:
		return false
	}
	for i, arg := range args[1:] {
		switch {
		case arg == "-D" && i+2 < len(args):
			return filepath.Clean(args[i+2]) == data
		case strings.HasPrefix(arg, "-D") && arg != "-D":
			return filepath.Clean(arg[2:]) == data
		}
	}
	return false
}

// splitServerCommand splits a command line that a process list printed with
// spaces, so that a data folder with spaces in its name stays whole.
func splitServerCommand(command string) []string {
	before, after, found := strings.Cut(command, " -D ")
	if !found {
		return strings.Fields(command)
	}
	data, _, _ := strings.Cut(after, " -c ")
	return []string{before, "-D", data}
}

// endOrphan stops a server that a killed daemon left running on our data, and
// takes the remains of a dead one out of the way. The caller holds the lock, so
// no live daemon owns that server.
func (c *cluster) endOrphan(ctx context.Context) error {
	name := path.Join(c.home, "data", "postmaster.pid")
	text, err := c.folder.root.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look for a server left running: %w", err)
	}
	pid, ok := postmasterPID(string(text))
	if !ok {
		// A crash while the file was written; the server itself refuses to guess.
		if err := c.folder.root.Remove(name); err != nil {
			return fmt.Errorf("remove an empty postmaster.pid: %w", err)
		}
		return nil
	}
	running := func() (bool, error) {
		args, err := commandLine(pid)
		return ownsData(args, c.data()), err
	}
	ours, err := running()
	if err != nil {
		return err
	}
	if ours {
		c.say(fmt.Sprintf("stopping the server (process %d) that an earlier daemon left running", pid))
		if err := c.stopOther(ctx, pid, running); err != nil {
			return err
		}
		text, err = c.folder.root.ReadFile(name)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("look for a server left running: %w", err)
		}
	}
	return c.disownPID(name, string(text))
}

// disownPID replaces the dead server's process number, which another process
// may have been given since; the server would refuse to start beside it. The
// rest of the file stays: by it the server finds shared memory still in use.
func (c *cluster) disownPID(name, text string) error {
	_, rest, _ := strings.Cut(text, "\n")
	file, err := c.folder.root.OpenFile(name, os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return fmt.Errorf("mark postmaster.pid as stale: %w", err)
	}
	_, err = fmt.Fprintf(file, "%d\n%s", deadPID, rest)
	if err := errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("mark postmaster.pid as stale: %w", err)
	}
	return nil
}

// stopOther ends a server that is not our child, harder and harder.
func (c *cluster) stopOther(ctx context.Context, pid int, running func() (bool, error)) error {
	for _, step := range stopSteps {
		if err := c.signalOther(pid, step.how); err != nil {
			return fmt.Errorf("stop the server left running as process %d: %w", pid, err)
		}
		gone, err := poll(ctx, step.wait, func() (bool, error) {
			alive, err := running()
			return !alive, err
		})
		if err != nil || gone {
			return err
		}
	}
	return fmt.Errorf("the server left running as process %d does not end", pid)
}

// poll asks every 20 ms until the answer is yes or the wait is over.
func poll(ctx context.Context, wait time.Duration, ask func() (bool, error)) (bool, error) {
	giveUp := time.Now().Add(wait)
	for {
		if yes, err := ask(); yes || err != nil {
			return yes, err
		}
		if time.Now().After(giveUp) {
			return false, nil
		}
		if err := pause(ctx, 20*time.Millisecond); err != nil {
			return false, err
		}
	}
}

// pause waits unless ctx ends first; then it returns the cause.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}
