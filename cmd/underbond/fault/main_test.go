package fault

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"underbond/sql/server/servertest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	err := servertest.Stop()
	if programs.dir != "" {
		err = errors.Join(err, os.RemoveAll(programs.dir))
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "clean up after the fault tests:", err)
		code = max(code, 1)
	}
	os.Exit(code)
}

// programs are the builds of the daemon, each made once a test process.
var programs struct {
	once sync.Once
	dir  string
	err  error
}

// program builds the daemon with and without the sabotage tag and gives the path of one.
func program(t testing.TB, sabotaged bool) string {
	t.Helper()
	if testing.Short() {
		t.Skip("builds the daemon and breaks it")
	}
	if runtime.GOOS == "windows" {
		t.Skip("stops the daemon by a signal")
	}
	programs.once.Do(func() {
		if programs.dir, programs.err = os.MkdirTemp("", "underbond-fault-"); programs.err != nil {
			return
		}
		for name, tags := range map[string]string{"plain.exe": "", "sabotaged.exe": "sabotage"} {
			out, err := exec.Command("go", "build", "-tags", tags, "-o", filepath.Join(programs.dir, name), "underbond/cmd/underbond").CombinedOutput()
			if err != nil {
				programs.err = fmt.Errorf("build %s: %w\n%s", name, err, out)
				return
			}
		}
	})
	if programs.err != nil {
		t.Fatal(programs.err)
	}
	if sabotaged {
		return filepath.Join(programs.dir, "sabotaged.exe")
	}
	return filepath.Join(programs.dir, "plain.exe")
}
