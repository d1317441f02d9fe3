package server

import (
	"bytes"
	"fmt"
	"os"
	"syscall"
)

const envLocale = "C.UTF-8"

// endWithParent lets the kernel stop the child politely when the daemon is killed.
func endWithParent(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGINT }

// commandLine returns the arguments of a process; none when it has ended or waits to be reaped.
func commandLine(pid int) ([]string, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
	if os.IsNotExist(err) || len(text) == 0 {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("look at process %d: %w", pid, err)
	}
	var args []string
	for arg := range bytes.SplitSeq(bytes.TrimRight(text, "\x00"), []byte{0}) {
		args = append(args, string(arg))
	}
	return args, nil
}
