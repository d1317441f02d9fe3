package server

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/gofrs/flock"
)

// lock makes this process the one that owns a folder, until it ends or releases it.
type lock struct {
	flock *flock.Flock
	note  string // file that tells a second daemon who holds the lock
}

func takeLock(dir, base string) (*lock, error) {
	l := &lock{flock: flock.New(base + ".lock"), note: base + ".pid"}
	ok, err := l.flock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock the database folder: %w", err)
	}
	if !ok {
		text, _ := os.ReadFile(l.note) // a hint for the message only
		pid, _ := strconv.Atoi(strings.TrimSpace(string(text)))
		return nil, &InUseError{Dir: dir, PID: pid}
	}
	if err := os.WriteFile(l.note, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600); err != nil {
		return nil, errors.Join(fmt.Errorf("note the owner of the database folder: %w", err), l.flock.Close())
	}
	return l, nil
}

// release lets the next one in. The lock file stays: removing it would let two owners in.
func (l *lock) release() error {
	err := os.Remove(l.note)
	return errors.Join(err, l.flock.Close())
}
