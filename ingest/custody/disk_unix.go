//go:build unix

package custody

import (
	"errors"
	"os"
	"syscall"
)

// sourceFlags keep an open from following a link at the end of the path and
// from waiting for the other end of a pipe.
const sourceFlags = os.O_RDONLY | syscall.O_NOFOLLOW | syscall.O_NONBLOCK

func isNoSpace(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

func syncFolder(path string) error {
	dir, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}
