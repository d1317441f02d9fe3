package fault

import (
	"context"
	"net/url"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"underbond/sql/migrations"
	"underbond/sql/server"
	"underbond/sql/server/servertest"
)

// ownServer is a Postgres that keeps what it has committed and that a test may stop.
type ownServer struct {
	t   testing.TB
	dir string
	mu  sync.Mutex
	s   *server.Server
}

// newOwnServer starts a server with a migrated database and gives the database's URL.
func newOwnServer(t testing.TB) (*ownServer, string) {
	t.Helper()
	servertest.New(t) // skips where there is no Postgres
	dir, err := servertest.Dir()
	if err != nil {
		t.Fatal(err)
	}
	o := &ownServer{t: t, dir: dir}
	t.Cleanup(func() {
		o.stop()
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	o.start()
	if err := o.s.EnsureDatabase(t.Context(), "underbond", server.AdminRole); err != nil {
		t.Fatal(err)
	}
	u := o.s.AdminURLFor("underbond")
	if _, _, err := migrations.Up(t.Context(), u, rolePrefix); err != nil {
		t.Fatal(err)
	}
	return o, u
}

func (o *ownServer) start() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.startLocked()
}

func (o *ownServer) startLocked() {
	s, err := server.Start(context.Background(), server.Options{Dir: o.dir})
	if err != nil {
		o.t.Errorf("start the server: %v", err)
		return
	}
	o.s = s
}

// stop ends the server at once: open transactions are lost, committed ones are not.
func (o *ownServer) stop() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.stopLocked()
}

// restart stops the server at once and starts it again.
func (o *ownServer) restart() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.stopLocked()
	o.startLocked()
}

func (o *ownServer) stopLocked() {
	hurry, cancel := context.WithCancel(context.Background())
	cancel()
	if o.s != nil {
		_ = o.s.Stop(hurry) // it tells that the next start recovers
	}
	o.s = nil
}

// TestDatabaseStopsAgainAndAgain stops the server at chosen commits, before or after
// they reach it, and starts it again.
func TestDatabaseStopsAgainAndAgain(t *testing.T) {
	t.Parallel()
	want := reference(t)
	o, u := newOwnServer(t)
	var commits atomic.Int64
	var stops sync.WaitGroup
	p := newProxy(t, u, func(c commit) action {
		if !c.Writes {
			return pass
		}
		switch commits.Add(1) {
		case 5, 23, 41:
			o.restart() // the commit goes to a server that is gone
		case 14, 32:
			stops.Go(o.restart)
			return cutAtOnce
		}
		return pass
	})
	l := newLab(t, u, p.url(t), quick)
	l.play()
	stops.Wait()
	l.check(want)
	l.noAttemptLost()
	if n := commits.Load(); n < 41 {
		t.Errorf("only %d commits, too few for every stop", n)
	}
}

// TestDatabaseAwayAtTheStart: files are taken into custody without a database, and
// recorded when it comes.
func TestDatabaseAwayAtTheStart(t *testing.T) {
	t.Parallel()
	want := reference(t)
	o, u := newOwnServer(t)
	o.stop()
	l := newLab(t, u, u, quick)
	all := phases(t)
	l.drop(all[0])
	l.start()
	await(t, "for custody of every file", func() bool { return l.log.lines("file taken into custody") == len(all[0]) })
	if l.log.lines("the database does not answer") == 0 {
		t.Error("the log does not say that the database is away")
	}
	o.start()
	l.rest()
	l.playOn(all[1:])
	l.check(want)
	l.noAttemptLost()
}

// TestCommittedThoughNeverAnswered: the server has committed and waits for a standby
// that does not exist; then the session is ended. The client has lost the answer, the
// transaction has happened.
func TestCommittedThoughNeverAnswered(t *testing.T) {
	t.Parallel()
	want := reference(t)
	_, u := newOwnServer(t)
	admin := func(statement string) {
		t.Helper()
		if err := execute(u, statement); err != nil {
			t.Fatal(err)
		}
	}
	l := newLab(t, u, u, quick)
	all := phases(t)
	l.drop(all[0])
	l.start()
	l.rest()
	// From here on no commit of the daemon is answered.
	l.drop(all[1])
	admin("alter role " + server.AdminRole + " set synchronous_commit = 'local'") // new sessions of this test
	admin("alter system set synchronous_standby_names = 'ghost'")
	admin("select pg_reload_conf()")
	ended := 0
	local, err := url.Parse(u)
	if err != nil {
		t.Fatal(err)
	}
	q := local.Query()
	q.Set("synchronous_commit", "local")
	local.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
	l.url = local.String()
	await(t, "for the correction to be recorded and evaluated", func() bool {
		ended += ask[int](l, `select count(pg_terminate_backend(pid)) from pg_stat_activity where datname = current_database() and wait_event = 'SyncRep'`)
		w := watcher{url: l.url}
		defer w.close()
		return w.idle(&l.ledger)
	})
	admin("alter system reset synchronous_standby_names")
	admin("select pg_reload_conf()")
	l.playOn(all[2:])
	l.check(want)
	if n := l.log.lines(lookedUp, `"outcome":"present"`); ended == 0 || n == 0 {
		t.Errorf("%d sessions ended in their commit, %d outcomes looked up and found", ended, n)
	}
}
