package custody

import (
	"fmt"
	"path/filepath"

	"github.com/gofrs/flock"
)

// DirLock says that this process alone works on a data folder. The system gives
// it up when the process ends, however it ends. It holds on local disks only.
type DirLock struct{ lock *flock.Flock }

// LockDir takes the lock of the data folder, making the folder when absent. When
// another process has it, the error is a *LockedError; it does not wait.
func LockDir(dir string) (*DirLock, error) {
	if err := (disk{}).mkdirDurable(dir); err != nil {
		return nil, fmt.Errorf("lock the data folder: %w", err)
	}
	path := filepath.Join(dir, "lock")
	lock := flock.New(path)
	held, err := lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	if !held {
		return nil, &LockedError{Path: path}
	}
	return &DirLock{lock: lock}, nil
}

// Unlock gives the lock up. The lock file stays: removing it would let two
// processes hold locks on two files of one name.
func (l *DirLock) Unlock() error {
	if err := l.lock.Unlock(); err != nil {
		return fmt.Errorf("unlock %s: %w", l.lock.Path(), err)
	}
	return nil
}
