package server

import (
	"os"
	"path/filepath"
)

// account is who runs the server and owns its folder.
type account struct {
	Name     string
	UID, GID int
	// Other is true when the daemon must switch to it, which only root can.
	Other bool
}

// give makes the account the owner of an open file.
func (a account) give(f *os.File) error {
	if !a.Other {
		return nil
	}
	return f.Chown(a.UID, a.GID)
}

// giveName makes the account the owner of a file or folder inside root.
func (a account) giveName(root *os.Root, name string) error {
	if !a.Other {
		return nil
	}
	return root.Lchown(name, a.UID, a.GID)
}

// parents lists the folders above path, from the top down.
func parents(path string) []string {
	var up []string
	for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
		up = append([]string{dir}, up...)
		if dir == filepath.Dir(dir) {
			return up
		}
	}
}
