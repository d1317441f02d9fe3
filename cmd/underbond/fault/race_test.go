package fault

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// holding is the environment of a daemon that hold can stop.
func (l *lab) holding() string { return "UNDERBOND_HOLD_DIR=" + filepath.Join(l.dir, "hold") }

// hold makes the daemon wait when it reaches point with name; of several, the lowest n is
// for who comes first. reached waits until it is there; release lets it go on.
func (l *lab) hold(point, name string, n int) (reached, release func()) {
	l.t.Helper()
	dir := filepath.Join(l.dir, "hold")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		l.t.Fatal(err)
	}
	place := filepath.Join(dir, fmt.Sprintf("%s@%s.%d", point, name, n))
	if err := os.WriteFile(place, nil, 0o600); err != nil {
		l.t.Fatal(err)
	}
	reached = func() {
		l.t.Helper()
		await(l.t, "for the daemon to reach "+point+" of "+name, func() bool {
			_, err := os.Lstat(place + ".held")
			return err == nil
		})
	}
	return reached, func() { _ = os.Remove(place + ".held") }
}

// gate holds one COMMIT in a proxy.
type gate struct {
	chosen        func(commit) bool
	once          sync.Once
	reached, open chan struct{}
}

func newGate(t testing.TB, chosen func(commit) bool) *gate {
	g := &gate{chosen: chosen, reached: make(chan struct{}), open: make(chan struct{})}
	t.Cleanup(g.release)
	return g
}

// decide is for a proxy.
func (g *gate) decide(c commit) action {
	if g.chosen(c) {
		first := false
		g.once.Do(func() { first = true })
		if first {
			close(g.reached)
			<-g.open
		}
	}
	return pass
}

func (g *gate) release() {
	select {
	case <-g.open:
	default:
		close(g.open)
	}
}

// wait returns when the COMMIT has come to the gate.
func (g *gate) wait(t testing.TB) {
	t.Helper()
	select {
	case <-g.reached:
	case <-time.After(patience):
		t.Fatal("the transaction to be held never came to its commit")
	}
}

// ask runs a query that gives one value, from outside of the daemon.
func ask[T any](l *lab, query string, args ...any) T {
	l.t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, l.url)
	if err != nil {
		l.t.Fatal(err)
	}
	defer conn.Close(ctx)
	var v T
	if err := conn.QueryRow(ctx, query, args...).Scan(&v); err != nil {
		l.t.Fatalf("%s: %v", query, err)
	}
	return v
}

// awaitBlocked waits until one of the daemon's transactions waits for another.
func (l *lab) awaitBlocked() {
	l.t.Helper()
	await(l.t, "for a transaction to wait for the one that is held", func() bool {
		return ask[bool](l, `select exists (select from pg_stat_activity where datname = current_database() and application_name = 'underbond' and wait_event_type = 'Lock')`)
	})
}

// of gives the drops of a list whose path is one of those, or is none of those.
func of(list []drop, are bool, paths ...string) []drop {
	return slices.DeleteFunc(slices.Clone(list), func(d drop) bool { return slices.Contains(paths, d.Path) != are })
}

// TestProfileComesWhileFileIsRead: a reader finds that a profile is missing; before it
// says so, the profile has come.
func TestProfileComesWhileFileIsRead(t *testing.T) {
	t.Parallel()
	want := reference(t)
	l := quickLab(t)
	all := phases(t)
	reached, release := l.hold("decided", strengthFile, 1)
	l.drop(of(all[0], true, strengthFile))
	l.start(l.holding())
	reached()
	l.drop(of(all[0], false, strengthFile))
	await(t, "for the documents", func() bool {
		return ask[bool](l, `select count(*) = $1 from core.document`, len(documents(t)))
	})
	release()
	l.rest()
	l.playOn(all[1:])
	l.check(want)
}

// playOn drops the phases one after the other and stops the daemon in the end.
func (l *lab) playOn(list [][]drop) {
	l.t.Helper()
	for _, phase := range list {
		l.drop(phase)
		l.rest()
	}
	l.stop()
}

// playRest drops what is left of the first phase, and then the other phases.
func (l *lab) playRest(all [][]drop) {
	l.t.Helper()
	left := slices.DeleteFunc(slices.Clone(all[0]), func(d drop) bool {
		return slices.ContainsFunc(l.ledger.drops, func(o drop) bool { return o.Root == d.Root && o.Path == d.Path })
	})
	l.playOn(append([][]drop{left}, all[1:]...))
}

// TestWorklistComesWhileExportIsRecorded: two transactions, one with a worklist and one
// with an export that it names, at the same time. Both have looked for the other before
// either is committed.
func TestWorklistComesWhileExportIsRecorded(t *testing.T) {
	t.Parallel()
	want := reference(t)
	list := "worklists/" + strengthBatch + ".csv"
	g := newGate(t, func(c commit) bool { return strings.HasPrefix(c.Subject, "worklist "+strengthBatch) })
	l, _ := withProxy(t, g.decide)
	all := phases(t)
	reached, release := l.hold("decided", strengthFile, 1)
	l.drop(of(documents(t), false, list))
	l.start(l.holding())
	l.rest()
	l.drop(of(all[0], true, strengthFile))
	reached()
	l.drop(of(all[0], true, list))
	g.wait(t)
	release()
	l.awaitBlocked()
	g.release()
	l.rest()
	l.playRest(all)
	l.check(want)
}

// TestSourceChangesWhileItsValueIsUsed: a strength is exported again while results per
// hectolitre of pure alcohol that use it are being released. They must be withdrawn all
// the same, in the transaction that records the change.
func TestSourceChangesWhileItsValueIsUsed(t *testing.T) {
	t.Parallel()
	want := reference(t)
	g := newGate(t, func(c commit) bool { return strings.HasPrefix(c.Subject, congenerBatch+"#") })
	l, _ := withProxy(t, g.decide)
	all := phases(t)
	l.drop(of(all[0], false, congenerFile))
	l.start(l.holding())
	l.rest() // the strengths are released
	evaluated, write := l.hold("evaluated", congenerBatch, 1)
	decided, record := l.hold("decided", strengthFile, 1)
	l.drop(of(all[0], true, congenerFile))
	evaluated()
	l.drop(all[1])
	decided()
	write()
	g.wait(t)
	record()
	l.awaitBlocked()
	g.release()
	l.rest()
	l.playOn(all[2:])
	l.check(want)
}
