package faultpoint_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// build compiles the small program and returns where it lies.
func build(t *testing.T, tags string) string {
	t.Helper()
	if testing.Short() {
		t.Skip("compiles a program")
	}
	bin := filepath.Join(t.TempDir(), "plain.exe")
	out, err := exec.CommandContext(t.Context(), "go", "build", "-tags", tags, "-o", bin, "./testdata/plain").CombinedOutput()
	if err != nil {
		t.Fatalf("build with tags %q: %v\n%s", tags, err, out)
	}
	return bin
}

func TestOnlyASabotagedBuildHoldsTheSwitches(t *testing.T) {
	t.Parallel()
	words := []string{"UNDERBOND_SABOTAGE", "UNDERBOND_KILL_AT", "UNDERBOND_KILL_PHASE", "UNDERBOND_COUNT_FILE", "content-address", "UNDERBOND_KILL_OP", "UNDERBOND_PANIC_ON", "UNDERBOND_CRASH_ON", "UNDERBOND_HOLD_DIR"}
	for tags, want := range map[string]bool{"": false, "sabotage": true} {
		content, err := os.ReadFile(build(t, tags))
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range words {
			if got := bytes.Contains(content, []byte(word)); got != want {
				t.Errorf("build with tags %q contains %q: %v, want %v", tags, word, got, want)
			}
		}
	}
}

func TestBadSettingsAbort(t *testing.T) {
	t.Parallel()
	bin := build(t, "sabotage")
	for setting, want := range map[string]string{
		"UNDERBOND_SABOTAGE=dir-sink":    `unknown protection "dir-sink"`,
		"UNDERBOND_KILL_AT=0":            "not a number from 1",
		"UNDERBOND_KILL_PHASE=meanwhile": "neither before nor after",
	} {
		cmd := exec.CommandContext(t.Context(), bin, t.TempDir())
		cmd.Env = append(os.Environ(), setting)
		out, err := cmd.CombinedOutput()
		if err == nil || !strings.Contains(string(out), want) {
			t.Errorf("%s: error %v, output %q, want %q", setting, err, out, want)
		}
	}
}
