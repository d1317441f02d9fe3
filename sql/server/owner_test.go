//go:build unix

package server_test

import (
	"bufio"
	"io"
	"os"
	"strings"
	"syscall"
	"testing"
)

// ownerOf returns the owner and group of a path.
func ownerOf(t *testing.T, path string) (uid, gid int) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	st := info.Sys().(*syscall.Stat_t)
	return int(st.Uid), int(st.Gid)
}

// asOwnerOf runs a child as the owner of a path.
func asOwnerOf(t *testing.T, path string) *syscall.SysProcAttr {
	t.Helper()
	uid, gid := ownerOf(t, path)
	if uid == os.Getuid() {
		return nil
	}
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid), Groups: []uint32{}}}
}

func giveToOwnerOf(t *testing.T, path, file string) {
	t.Helper()
	uid, gid := ownerOf(t, path)
	if err := os.Chown(file, uid, gid); err != nil {
		t.Fatal(err)
	}
}

// readUntil reads a program's output until a line has the text, and drains the rest in the background.
func readUntil(t *testing.T, r io.Reader, text string) {
	t.Helper()
	b := bufio.NewReader(r)
	for {
		line, err := b.ReadString('\n')
		if err != nil {
			t.Fatalf("output ended before %q: %v", text, err)
		}
		if strings.Contains(line, text) {
			go io.Copy(io.Discard, b)
			return
		}
	}
}
