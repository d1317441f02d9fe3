package fault

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// off is the environment that switches a protection off.
func off(protection string) string { return "UNDERBOND_SABOTAGE=" + protection }

// TestEveryProtectionIsNeeded plays a scenario with and without each protection. With it
// nothing may be amiss; without it the harness must notice, or it would not notice
// either when the protection is broken by mistake.
func TestEveryProtectionIsNeeded(t *testing.T) {
	t.Parallel()
	want := reference(t)
	type scenario func(t *testing.T, env ...string) []string
	for protection, c := range map[string]struct {
		play scenario
		// notice is part of what must be noticed without the protection.
		notice string
	}{
		"duplicate-key":      {func(t *testing.T, env ...string) []string { return whole(t, want, env) }, "recorded  with 5 acquisitions"},
		"withdraw-on-change": {func(t *testing.T, env ...string) []string { return whole(t, want, env) }, "told to readers"},
		"commit-outcome":     {func(t *testing.T, env ...string) []string { return answersLost(t, want, env) }, "0 outcomes looked up"},
		"rehash":             {silentChange, "is [], must be"},
		"claim-fence":        {takenOver, "lost its claim"},
		"attempt-count":      {poison, "ended the process 4 times"},
		"journal-before-ack": {acknowledged, "stands 0 times in the journal"},
		"quiet-period":       {slowWriter, "was never dropped like this"},
		"end-proof":          {pausingWriter, "was never dropped like this"},
		"evaluation-version": {changedMeanwhile, "is released, and once more or never expected"},
	} {
		t.Run(protection, func(t *testing.T) {
			t.Parallel()
			t.Run("with", func(t *testing.T) {
				t.Parallel()
				for _, breach := range c.play(t) {
					t.Error(breach)
				}
			})
			t.Run("without", func(t *testing.T) {
				t.Parallel()
				breaches := strings.Join(c.play(t, off(protection)), "; ")
				if !strings.Contains(breaches, c.notice) {
					t.Errorf("%q was not noticed: %s", c.notice, breaches)
				}
			})
		})
	}
}

func whole(t *testing.T, want, env []string) []string {
	l := quickLab(t)
	l.play(env...)
	return l.breaches(want)
}

// answersLost loses the answers to three commits. Without a look the store would be right
// in the end as well, by natural keys; but nobody could tell from the log what happened.
func answersLost(t *testing.T, want, env []string) []string {
	var cuts atomic.Int64
	l, _ := withProxy(t, func(c commit) action {
		if c.Kind == "evaluated" && cuts.Add(1) <= 3 {
			return cutAfter
		}
		return pass
	})
	l.play(env...)
	breaches := l.breaches(want)
	if n := l.log.lines(lookedUp); n != 3 {
		breaches = append(breaches, fmt.Sprintf("3 answers were lost, %d outcomes looked up", n))
	}
	return breaches
}

// silentChange rewrites a file in place. Without a second reading nothing ever comes of
// it, so another file tells when scans enough have passed.
func silentChange(t *testing.T, env ...string) []string {
	l := quickLab(t)
	l.drop(of(documents(t), true, "profiles/density-log.yaml"))
	note := drop{Root: rootDM, Path: "notes.txt", Bytes: []byte("bottle;remark\nS-1;one\n"), Outcome: "waiting"}
	l.drop([]drop{note})
	l.start(env...)
	l.rest()
	note.Bytes = []byte("bottle;remark\nS-1;two\n")
	l.rewrite(note)
	l.canary("after.txt")
	l.canary("later.txt")
	l.stop()
	return l.audit()
}

// canary drops a file beside others and returns when it has been read and no file is
// open: whatever lay there quietly before it has been looked at.
func (l *lab) canary(name string) {
	l.t.Helper()
	l.drop([]drop{{Root: rootDM, Path: name, Bytes: []byte("a;b\n" + name + ";1\n"), Outcome: "waiting"}})
	await(l.t, "for "+name, func() bool {
		return ask[bool](l, `select exists (select from core.arrival where path_text = $1)
			and not exists (select from core.arrival where state in ('in custody', 'parsing'))`, name)
	})
}

// runOf is one drop of the strengths' run, of which nothing is computed per hectolitre of
// pure alcohol, for there are no other results.
func runOf(lines []strength) drop {
	d := drop{Root: rootDM, Path: strengthFile, Bytes: strengthLog(lines), Outcome: "recorded", Rows: len(lines)}
	for _, v := range strengthValues(lines) {
		if v.Analyte == "strength" {
			d.Values = append(d.Values, v)
		}
	}
	return d
}

var firstRun = []strength{{"1", "EW-40", 40}, {"2", "S-1", 42.1}, {"3", "S-2", 41.42}, {"4", "S-1 dup", 42.1}, {"5", "EW-40", 40}}

// takenOver lets a reader stall past its lease; another one takes the file over and
// stalls too. Then the first goes on: what it has to say is void.
func takenOver(t *testing.T, env ...string) (breaches []string) {
	l := quickLab(t)
	first, releaseFirst := l.hold("decided", strengthFile, 1)
	second, releaseSecond := l.hold("decided", strengthFile, 2)
	l.drop(documents(t))
	l.start(append(env, l.holding())...)
	l.rest()
	l.drop([]drop{runOf(firstRun)})
	first()
	if err := execute(l.url, `update core.arrival set lease_until = '2000-01-01' where state = 'parsing'`); err != nil {
		t.Fatal(err)
	}
	second()
	releaseFirst()
	const state = `select state from core.arrival where path_text = $1`
	await(t, "for the first reader to write", func() bool {
		return l.log.lines("file was taken over by another worker") > 0 || ask[string](l, state, strengthFile) != "parsing"
	})
	if now := ask[string](l, state, strengthFile); now != "parsing" {
		breaches = append(breaches, "the file is "+now+" by the word of a reader that had lost its claim")
	}
	releaseSecond()
	l.rest()
	l.stop()
	return append(breaches, l.audit()...)
}

// poison is a file that ends the process whenever it is read. It must be given up, and
// the others must be recorded.
func poison(t *testing.T, env ...string) (breaches []string) {
	l := quickLab(t)
	l.drop(documents(t))
	l.drop([]drop{runOf(firstRun), {Root: rootGC, Path: congenerFile, Bytes: []byte(congenerRun(congenerBatch)), Outcome: "refused", Code: "attempts-exhausted"}})
	env = append(env, "UNDERBOND_CRASH_ON=read@"+congenerFile)
	w := watcher{url: l.url}
	defer w.close()
	const most = 3 // readings that may be begun
	for deaths := 0; ; deaths++ {
		if deaths > most {
			return []string{fmt.Sprintf("the file has ended the process %d times", deaths)}
		}
		l.start(env...)
		idle := false
		await(t, "for the daemon to die or to have nothing left to do", func() bool {
			idle = w.idle(&l.ledger)
			return idle || !l.daemon.alive()
		})
		if idle {
			l.stop()
			return l.audit()
		}
		if !l.daemon.killed() {
			t.Fatalf("the daemon ended by itself: %v", l.daemon.err)
		}
	}
}

// acknowledged kills the daemon around each of its first writes and then takes away every
// file for which the log has said that it is in custody.
func acknowledged(t *testing.T, env ...string) (breaches []string) {
	for n := 1; n <= 4; n++ {
		for _, phase := range []string{"before", "after"} {
			l := quickLab(t)
			note := drop{Root: rootDM, Path: "notes.txt", Bytes: []byte("bottle;remark\nS-1;one\n"), Outcome: "waiting"}
			l.drop([]drop{note})
			l.start(append(env, "UNDERBOND_KILL_OP=write", fmt.Sprintf("UNDERBOND_KILL_AT=%d", n), "UNDERBOND_KILL_PHASE="+phase)...)
			w := watcher{url: l.url}
			await(t, "for the daemon to die or to have nothing left to do", func() bool { return !l.daemon.alive() || w.idle(&l.ledger) })
			w.close()
			l.daemon.kill()
			if l.log.lines("file taken into custody") > 0 {
				if err := os.Remove(l.path(note)); err != nil {
					t.Fatal(err)
				}
			}
			l.start()
			l.canary("after.txt")
			l.stop()
			for _, breach := range l.audit() {
				breaches = append(breaches, fmt.Sprintf("killed %s write %d: %s", phase, n, breach))
			}
		}
	}
	return breaches
}

// slowWriter adds to a file without an end mark in steps far shorter than the quiet
// period until the daemon has scanned several times.
func slowWriter(t *testing.T, env ...string) []string {
	program(t, true)
	url := database(t)
	times := quick
	times.quiet, times.incompleteAfter = 3*time.Second, time.Hour
	l := newLab(t, url, url, times)
	l.start(env...)
	await(t, "for the daemon to watch", func() bool { return l.log.lines("root_online") >= 3 })
	path := filepath.Join(l.folder(rootDM), "slow.txt")
	content := []byte("bottle;remark\n")
	begun := time.Now()
	before, longest := begun, time.Duration(0)
	// Without the protection until the daemon has been caught; with it for many scans.
	for i := 0; time.Since(begun) < 2*time.Second || len(env) > 0 && l.log.lines("file taken into custody") == 0 && time.Since(begun) < patience; i++ {
		content = fmt.Appendf(content, "S-%d;slow\n", i)
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
		<-time.After(20 * time.Millisecond) // the pace of the writer
		longest, before = max(longest, time.Since(before)), time.Now()
	}
	if longest > times.quiet/2 {
		t.Skipf("the machine is too busy to write steadily: a pause of %s", longest)
	}
	l.drop([]drop{{Root: rootDM, Path: "slow.txt", Bytes: content, Outcome: "waiting"}})
	l.rest()
	l.stop()
	return l.audit()
}

// pausingWriter stops in the middle of a file whose format has an end mark, for far
// longer than the quiet period: until a file that came later has been taken.
func pausingWriter(t *testing.T, env ...string) []string {
	program(t, true)
	url := database(t)
	times := quick
	times.incompleteAfter = time.Hour
	l := newLab(t, url, url, times)
	whole := drop{Root: rootDM, Path: "scan.dx", Bytes: []byte(spectrum), Outcome: "waiting", Rows: 1}
	path := l.path(whole)
	if err := os.WriteFile(path, bytes.TrimSuffix(whole.Bytes, []byte("304 104\n##END=\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	l.start(env...)
	l.canary("after.txt")
	l.drop([]drop{whole})
	l.rest()
	l.stop()
	return l.audit()
}

const spectrum = `##TITLE=S-1
##JCAMP-DX=4.24
##DATA TYPE=UV/VIS SPECTRUM
##ORIGIN=invented
##OWNER=invented
##XUNITS=NANOMETERS
##YUNITS=ABSORBANCE
##FIRSTX=300
##LASTX=304
##DELTAX=1
##NPOINTS=5
##XFACTOR=1
##YFACTOR=0.001
##FIRSTY=0.1
##XYDATA=(X++(Y..Y))
300 100 101 102 103
304 104
##END=
`

// changedMeanwhile records a failing check standard between the evaluation of a batch and
// its being written: what was computed from the good one must not be released for good.
func changedMeanwhile(t *testing.T, env ...string) []string {
	l := quickLab(t)
	reached, release := l.hold("evaluated", strengthBatch, 1)
	l.drop(documents(t))
	l.start(append(env, l.holding())...)
	l.rest()
	good := runOf(firstRun)
	good.Values = nil
	l.drop([]drop{good})
	reached()
	bad := runOf([]strength{{"1", "EW-40", 38}, firstRun[1], firstRun[2], firstRun[3], firstRun[4]})
	bad.Rows, bad.Values = 1, nil
	l.drop([]drop{bad})
	await(t, "for the change to be recorded", func() bool {
		return ask[bool](l, `select count(*) = 2 from core.arrival where path_text = $1 and state = 'recorded'`, strengthFile)
	})
	release()
	l.rest()
	l.stop()
	return l.audit()
}

// TestPanicOfAReaderRefusesTheFile: the daemon lives on.
func TestPanicOfAReaderRefusesTheFile(t *testing.T) {
	t.Parallel()
	l := quickLab(t)
	l.drop(documents(t))
	l.drop([]drop{runOf(firstRun), {Root: rootGC, Path: congenerFile, Bytes: []byte(congenerRun(congenerBatch)), Outcome: "refused", Code: "reader-panic"}})
	l.start("UNDERBOND_PANIC_ON=read@" + congenerFile)
	l.rest()
	l.stop()
	l.check(nil)
	if l.deaths > 0 {
		t.Errorf("the daemon died %d times", l.deaths)
	}
}

// TestThePlainProgramHoldsNoSwitch: what weakens or kills the daemon is not in the build
// that laboratories get.
func TestThePlainProgramHoldsNoSwitch(t *testing.T) {
	t.Parallel()
	for sabotaged, name := range map[bool]string{false: "plain", true: "sabotaged"} {
		content, err := os.ReadFile(program(t, sabotaged))
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range []string{"UNDERBOND_SABOTAGE", "UNDERBOND_KILL_AT", "UNDERBOND_KILL_OP", "UNDERBOND_KILL_PHASE", "UNDERBOND_COUNT_FILE",
			"UNDERBOND_PANIC_ON", "UNDERBOND_CRASH_ON", "UNDERBOND_HOLD_DIR", "journal-before-ack", "withdraw-on-change", "evaluation-version"} {
			if got := bytes.Contains(content, []byte(word)); got != sabotaged {
				t.Errorf("the %s program contains %q: %v", name, word, got)
			}
		}
	}
}
