package fault

import (
	"fmt"
	"os"
	"os/exec"
	"testing"
)

// TestKilledInASystemCall kills the plain program on its way into a system call, which no
// switch in the program takes part in. It samples; the sweep over durable operations is
// the complete one.
func TestKilledInASystemCall(t *testing.T) {
	t.Parallel()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("needs strace")
	}
	if out, err := exec.Command(strace, "-D", "-f", "-qq", "-o", os.DevNull, "-e", "trace=fsync", "go", "version").CombinedOutput(); err != nil {
		t.Skipf("needs the right to trace processes: %v, %s", err, out)
	}
	want := reference(t)
	random := seed(t)
	deaths := 0
	for _, calls := range []string{"fsync", "renameat,renameat2", "write", "openat", "unlinkat,mkdirat"} {
		// Calls are counted by thread.
		l := quickLab(t)
		all := phases(t)
		l.drop(all[0])
		inject := fmt.Sprintf("inject=%s:signal=SIGKILL:when=%d", calls, 1+random.IntN(12))
		t.Log(inject)
		l.daemon = launch(t, &l.log, []string{"GOMAXPROCS=1"}, strace, "-D", "-f", "-qq", "-o", os.DevNull, "-e", "trace="+calls, "-e", inject, program(t, false), "serve", "-c", l.config)
		l.rest()
		l.playOn(all[1:])
		l.check(want)
		deaths += l.deaths
	}
	if deaths == 0 {
		t.Error("no system call killed the daemon")
	}
}
