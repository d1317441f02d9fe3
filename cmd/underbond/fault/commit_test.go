package fault

import (
	"sync/atomic"
	"testing"
)

// lookedUp is what the daemon logs when it has found out what became of a COMMIT.
const lookedUp = "answer to commit lost, outcome looked up"

// everySecond disturbs every second COMMIT that the choice is about, so that each
// transaction comes through when it is tried again.
func everySecond(act action, chosen func(commit) bool) func(commit) action {
	var seen atomic.Int64
	return func(c commit) action {
		if chosen(c) && seen.Add(1)%2 == 1 {
			return act
		}
		return pass
	}
}

func hasEntry(c commit) bool { return c.Kind != "" }

// withProxy makes a laboratory whose daemon speaks to its database through a proxy.
func withProxy(t testing.TB, decide func(commit) action) (*lab, *proxy) {
	t.Helper()
	program(t, true)
	url := database(t)
	p := newProxy(t, url, decide)
	return newLab(t, url, p.url(t), quick), p
}

// TestAnswerToCommitLost: whether or not the transaction has happened, it has one effect,
// and the log says which it was.
func TestAnswerToCommitLost(t *testing.T) {
	t.Parallel()
	want := reference(t)
	for name, c := range map[string]struct {
		act     action
		outcome string
	}{
		"it has happened":     {cutAfter, `"outcome":"present"`},
		"it has not happened": {cutBefore, `"outcome":"absent"`},
		"nobody can tell":     {cutAtOnce, `"outcome":"`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l, p := withProxy(t, everySecond(c.act, hasEntry))
			l.play()
			l.check(want)
			cuts := p.count(c.act)
			// The database shows the last effect before the daemon has looked it up, so that the
			// stop may come in between.
			if n := l.log.lines(lookedUp, c.outcome); cuts < 10 || n > cuts || n < 1 || n < cuts-1 && c.act != cutAtOnce {
				t.Errorf("%d answers were lost, %d outcomes looked up", cuts, n)
			}
		})
	}
}

// noAttemptLost: as long as the daemon lives, a fault of the database is no attempt at a file.
func (l *lab) noAttemptLost() {
	l.t.Helper()
	if n := ask[int](l, `select max(attempts) from core.arrival`); n != 1 {
		l.t.Errorf("a file was read in %d attempts, must be 1", n)
	}
}

// TestAnswerToClaimLost: a file whose claim was committed without an answer is read at
// once, not when its lease ends.
func TestAnswerToClaimLost(t *testing.T) {
	t.Parallel()
	want := reference(t)
	for name, act := range map[string]action{"it has happened": cutAfter, "it has not happened": cutBefore, "nobody can tell": cutAtOnce} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var seen atomic.Int64
			l, _ := withProxy(t, func(c commit) action {
				if c.Writes && c.Kind == "" && seen.Add(1)%5 == 2 {
					return act
				}
				return pass
			})
			l.play()
			l.check(want)
			l.noAttemptLost()
			if seen.Load() < 10 {
				t.Errorf("only %d transactions without a ledger entry", seen.Load())
			}
		})
	}
}
