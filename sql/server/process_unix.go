//go:build unix

package server

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
)

var signals = map[how]syscall.Signal{fast: syscall.SIGINT, immediate: syscall.SIGQUIT, kill: syscall.SIGKILL}

// signal asks the process to end. One that has ended already is no error.
func (p *process) signal(h how) error {
	err := p.cmd.Process.Signal(signals[h])
	if errors.Is(err, os.ErrProcessDone) {
		return nil
	}
	return err
}

// signalOther asks a server that is not our child to end.
func (c *cluster) signalOther(pid int, h how) error {
	err := syscall.Kill(pid, signals[h])
	if errors.Is(err, syscall.ESRCH) {
		return nil
	}
	return err
}

// prepare sets account, folder and environment of a program of the cluster.
// A process group of its own keeps a terminal's Ctrl-C away from it.
func (c *cluster) prepare(cmd *exec.Cmd) {
	cmd.Dir = c.folder.abs(c.home)
	cmd.Env = []string{"LC_ALL=" + envLocale, "PATH=/usr/bin:/bin", "TZ=UTC"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Credential: c.owner.credential()}
	endWithParent(cmd.SysProcAttr)
}

// reachable proves that the account can run the programs in the folder.
func (c *cluster) reachable() error {
	cmd := exec.Command(program(c.install.Dir, "postgres"), "--version")
	cmd.Dir = c.folder.path
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c.owner.credential()}
	err := cmd.Run()
	if err == nil {
		return nil
	}
	if errors.Is(err, os.ErrPermission) {
		for _, path := range []string{c.folder.path, program(c.install.Dir, "postgres")} {
			if dir, ok := blocker(path, c.owner); ok {
				return &TraverseError{Folder: dir, Path: path, Account: c.owner.Name}
			}
		}
	}
	return &AccountError{Name: c.owner.Name, Err: fmt.Errorf("run %s in %s: %w", cmd.Path, cmd.Dir, err)}
}

// listenArgs make the server reachable through the socket alone.
func (c *cluster) listenArgs() ([]string, error) {
	dir, err := socketFolder(c.folder, c.home, shortFolders(c.owner))
	if err != nil {
		return nil, err
	}
	c.host, c.port = dir, socketPort
	return []string{
		"listen_addresses=",
		fmt.Sprintf("port=%d", socketPort),
		`unix_socket_directories="` + dir + `"`,
		"unix_socket_permissions=0700",
	}, nil
}

// shortFolders are where a socket may lie when the path beside the data is too long.
func shortFolders(a account) []string {
	if a.Other {
		return []string{"/run", os.TempDir(), "/tmp"}
	}
	return []string{os.TempDir(), "/tmp"}
}

// privateFolder makes a folder of the account that nobody else can enter, and refuses one that somebody else prepared.
func privateFolder(dir string, a account) error {
	err := os.Mkdir(dir, 0o700)
	if err == nil && a.Other {
		return os.Lchown(dir, a.UID, a.GID)
	}
	if err == nil || !errors.Is(err, os.ErrExist) {
		return err
	}
	info, err := os.Lstat(dir)
	if err != nil {
		return err
	}
	if owner := int(info.Sys().(*syscall.Stat_t).Uid); !info.IsDir() || owner != a.UID || info.Mode().Perm()&0o077 != 0 {
		return fmt.Errorf("%s exists, but is not a private folder of account %q; remove it", dir, a.Name)
	}
	return nil
}

// dropSocketFolder removes a short folder; the one beside the data stays.
func (c *cluster) dropSocketFolder() error {
	if c.host == "" || c.host == filepath.Join(c.folder.abs(c.home), "s") {
		return nil
	}
	if err := os.RemoveAll(c.host); err != nil {
		return fmt.Errorf("remove the short folder of the socket: %w", err)
	}
	return nil
}

func syncDir(d *os.File) error { return d.Sync() }
