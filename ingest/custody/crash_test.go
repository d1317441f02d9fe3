package custody

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// taker is the program of testdata/taker, built to be killed.
type taker struct{ bin, data, source string }

func newTaker(t *testing.T) taker {
	t.Helper()
	if testing.Short() {
		t.Skip("compiles a program and runs it some hundred times")
	}
	dir := t.TempDir()
	k := taker{bin: filepath.Join(dir, "taker.exe"), data: filepath.Join(dir, "data"), source: filepath.Join(dir, "source")}
	out, err := exec.CommandContext(t.Context(), "go", "build", "-tags", "sabotage", "-o", k.bin, "./testdata/taker").CombinedOutput()
	if err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	if err := os.Mkdir(k.source, 0o700); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{"a.csv": "1;2", "b.csv": "3;4", "blank1.csv": "0", "blank2.csv": "0"} {
		if err := os.WriteFile(filepath.Join(k.source, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return k
}

// run runs the program with more environment and gives its output by line and
// whether it came to its end.
func (k taker) run(t *testing.T, env ...string) (lines []string, done bool) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), k.bin, k.data, k.source)
	cmd.Env = append(os.Environ(), env...)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	lines = strings.Split(strings.TrimSpace(string(out)), "\n")
	done = slices.Contains(lines, "done")
	if killed := err != nil && stderr.Len() == 0; !killed && (err != nil || !done) {
		t.Fatalf("%q: %v\n%s%s", env, err, out, &stderr)
	}
	return lines, done
}

// durableOperations runs the program on an empty folder and counts.
func (k taker) durableOperations(t *testing.T, env ...string) int {
	t.Helper()
	count := filepath.Join(t.TempDir(), "count")
	if err := os.RemoveAll(k.data); err != nil {
		t.Fatal(err)
	}
	if _, done := k.run(t, append(env, "UNDERBOND_COUNT_FILE="+count)...); !done {
		t.Fatal("the program did not come to its end")
	}
	text, err := os.ReadFile(count)
	if err != nil {
		t.Fatal(err)
	}
	number, _, _ := strings.Cut(string(text), " ")
	n, err := strconv.Atoi(number)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestKilledAtEveryOperation kills the program before and after each durable
// operation. Started again it must end in the state of an undisturbed run, and
// nothing that was acknowledged before the kill may be missing.
func TestKilledAtEveryOperation(t *testing.T) {
	t.Parallel()
	k := newTaker(t)
	total := k.durableOperations(t)
	if total < 30 {
		t.Fatalf("only %d durable operations", total)
	}
	for _, phase := range []string{"before", "after"} {
		for n := 1; n <= total; n++ {
			if err := os.RemoveAll(k.data); err != nil {
				t.Fatal(err)
			}
			said, done := k.run(t, "UNDERBOND_KILL_PHASE="+phase, fmt.Sprintf("UNDERBOND_KILL_AT=%d", n))
			if done {
				t.Fatalf("%s %d: not killed", phase, n)
			}
			if _, done := k.run(t); !done {
				t.Fatalf("%s %d: killed again", phase, n)
			}
			k.check(t, fmt.Sprintf("killed %s %d", phase, n), said)
		}
	}
	t.Logf("%d durable operations, each killed before and after", total)
}

func (k taker) check(t *testing.T, when string, said []string) {
	t.Helper()
	archive, err := OpenArchive(filepath.Join(k.data, "archive"))
	if err != nil {
		t.Fatalf("%s: %v", when, err)
	}
	objects := map[string]bool{}
	if err := archive.Each(t.Context(), func(o Object) error {
		objects[o.Hash.String()] = true
		_, err := archive.Verify(t.Context(), o.Hash)
		return err
	}); err != nil || len(objects) != 3 {
		t.Errorf("%s: %d objects, %v", when, len(objects), err)
	}
	j, torn, err := OpenJournal(filepath.Join(k.data, "journal", "arrivals.ndjson"))
	if err != nil || torn != nil {
		t.Fatalf("%s: torn %+v, %v", when, torn, err)
	}
	defer j.Close()
	var paths []string
	arrived := map[string]bool{}
	for _, r := range records(t, j, 1) {
		if r.Arrival != nil {
			paths = append(paths, string(r.Arrival.Path))
			arrived[r.Arrival.SHA256.String()] = true
			if !objects[r.Arrival.SHA256.String()] {
				t.Errorf("%s: arrival %d has no object", when, r.Number)
			}
		}
	}
	if want := []string{"a.csv", "b.csv", "blank1.csv", "blank2.csv"}; !slices.Equal(paths, want) {
		t.Errorf("%s: arrivals of %q", when, paths)
	}
	for _, line := range said {
		if what, value, _ := strings.Cut(line, " "); what == "taken" && !arrived[value] || what == "archive" && value != archive.ID() {
			t.Errorf("%s: it had said %q", when, line)
		}
	}
	if left := filesBelow(t, filepath.Join(k.data, "archive", "tmp")); len(left) > 0 {
		t.Errorf("%s: leftovers %q", when, left)
	}
}

// TestSwitchedOffProtectionsShow makes sure that the switches act, so that a
// power-cut test which stays green without a protection is known to be blind.
func TestSwitchedOffProtectionsShow(t *testing.T) {
	t.Parallel()
	k := newTaker(t)
	all := k.durableOperations(t)
	for _, name := range []string{"dir-sync", "file-sync", "journal-sync"} {
		if without := k.durableOperations(t, "UNDERBOND_SABOTAGE="+name); without >= all {
			t.Errorf("without %s there are %d durable operations, with it %d", name, without, all)
		}
	}
	k.durableOperations(t, "UNDERBOND_SABOTAGE=content-address")
	archive, err := OpenArchive(filepath.Join(k.data, "archive"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	if err := archive.Each(t.Context(), func(Object) error { n++; return nil }); err != nil || n != 4 {
		t.Errorf("without content-address %d objects from 4 files of which two are equal, %v", n, err)
	}
}
