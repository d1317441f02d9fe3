//go:build unix && !linux

package server

import (
	"errors"
	"fmt"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
)

const envLocale = "C"

// endWithParent does nothing: only Linux can tie a child to its parent. The next start stops an orphan.
func endWithParent(*syscall.SysProcAttr) {}

// commandLine returns the arguments of a process, as far as ps keeps them apart; none when it has ended.
func commandLine(pid int) ([]string, error) {
	out, err := exec.Command("ps", "-ww", "-o", "stat=,command=", "-p", strconv.Itoa(pid)).Output()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("look at process %d: %w", pid, err)
	}
	state, command, _ := strings.Cut(strings.TrimSpace(string(out)), " ")
	if strings.HasPrefix(state, "Z") {
		return nil, nil
	}
	return splitServerCommand(strings.TrimSpace(command)), nil
}
