package server

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/windows"
)

// signal asks the process to end. Windows has no signals: pg_ctl speaks to the server's own pipe.
func (p *process) signal(h how) error {
	if h == kill || !strings.HasPrefix(strings.ToLower(filepath.Base(p.cmd.Path)), "postgres") {
		err := p.cmd.Process.Kill()
		if errors.Is(err, os.ErrProcessDone) {
			return nil
		}
		return err
	}
	return controlSignal(p.cmd.Path, p.pid(), h)
}

func (c *cluster) signalOther(pid int, h how) error {
	if h == kill {
		p, err := os.FindProcess(pid)
		if err != nil {
			return fmt.Errorf("find process %d: %w", pid, err)
		}
		return p.Kill()
	}
	return controlSignal(program(c.install.Dir, "postgres"), pid, h)
}

func controlSignal(postgres string, pid int, h how) error {
	name := map[how]string{fast: "INT", immediate: "QUIT"}[h]
	ctl := program(filepath.Dir(postgres), "pg_ctl")
	if out, err := exec.Command(ctl, "kill", name, fmt.Sprint(pid)).CombinedOutput(); err != nil {
		return fmt.Errorf("%s kill %s %d: %w: %s", ctl, name, pid, err, strings.TrimSpace(string(out)))
	}
	return nil
}

// prepare sets folder and environment of a program of the cluster.
func (c *cluster) prepare(cmd *exec.Cmd) {
	cmd.Dir = c.folder.abs(c.home)
	for _, kv := range os.Environ() {
		if !strings.HasPrefix(strings.ToUpper(kv), "PG") {
			cmd.Env = append(cmd.Env, kv)
		}
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{CreationFlags: syscall.CREATE_NEW_PROCESS_GROUP}
}

func (c *cluster) reachable() error { return nil }

// listenArgs make the server reachable through a loopback port that is free now.
func (c *cluster) listenArgs() ([]string, error) {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("find a free loopback port: %w", err)
	}
	c.host, c.port = "127.0.0.1", l.Addr().(*net.TCPAddr).Port
	if err := l.Close(); err != nil {
		return nil, fmt.Errorf("find a free loopback port: %w", err)
	}
	return []string{"listen_addresses=127.0.0.1", fmt.Sprintf("port=%d", c.port), "unix_socket_directories="}, nil
}

func (c *cluster) dropSocketFolder() error { return nil }

func privateFolder(dir string, _ account) error { return os.MkdirAll(dir, 0o700) }

func syncDir(*os.File) error { return nil }

func ownerOf(string) (int, bool, error) { return 0, false, nil }

func accountName(int) string { return "" }

// commandLine asks the system's process list; none when the process has ended.
func commandLine(pid int) ([]string, error) {
	out, err := exec.Command("powershell", "-NoProfile", "-Command",
		fmt.Sprintf("(Get-CimInstance Win32_Process -Filter 'ProcessId=%d').CommandLine", pid)).Output()
	if err != nil {
		return nil, fmt.Errorf("look at process %d: %w", pid, err)
	}
	text := strings.TrimSpace(string(out))
	if text == "" {
		return nil, nil
	}
	return windows.DecomposeCommandLine(text)
}
