package server

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
)

const (
	socketPort = 5432
	socketFile = ".s.PGSQL.5432"
	// maxSocketPath is the longest socket path, in bytes, that Linux (107) and macOS (103) both take.
	maxSocketPath = 103
)

// socketFits says whether a folder can hold the socket. A comma would split
// the path in two, for the server and for its clients.
func socketFits(dir string) bool {
	return len(filepath.Join(dir, socketFile)) <= maxSocketPath && !strings.ContainsAny(dir, ",\"\n")
}

// socketFolder makes the folder for the socket: beside the data, or where that path
// is too long a short one named after the data folder. Sockets left in it by a
// killed server are removed, which is safe because the caller holds the lock
// and has ended every server of this data folder.
func socketFolder(f *folder, home string, short []string) (dir string, err error) {
	name := path.Join(home, "s")
	if socketFits(f.abs(name)) {
		if err := f.mkdir(name); err != nil {
			return "", err
		}
		return f.abs(name), removeSockets(f.abs(name))
	}
	sum := sha256.Sum256([]byte(f.abs(home)))
	for _, base := range short {
		dir := filepath.Join(base, "underbond-"+hex.EncodeToString(sum[:6]))
		if !socketFits(dir) {
			continue
		}
		if err := privateFolder(dir, f.owner); err != nil {
			return "", fmt.Errorf("make a short folder for the socket: %w", err)
		}
		return dir, removeSockets(dir)
	}
	return "", fmt.Errorf("path %s is too long for a unix socket (%d bytes at most), and so is every short folder; choose a shorter folder",
		f.abs(path.Join(name, socketFile)), maxSocketPath)
}

func removeSockets(dir string) error {
	for _, name := range []string{socketFile, socketFile + ".lock"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !os.IsNotExist(err) {
			return fmt.Errorf("remove a stale socket: %w", err)
		}
	}
	return nil
}
