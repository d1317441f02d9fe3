package fault

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"underbond/sql/migrations"
	"underbond/sql/server/servertest"
)

// rolePrefix is that of all databases here: they are copies of one migrated database.
const rolePrefix = "fault"

var databases struct {
	once  sync.Once
	count atomic.Int64
	err   error
}

// database makes a migrated database for one test and returns a superuser URL for it.
func database(t testing.TB) string {
	t.Helper()
	s := servertest.New(t)
	const model = "fault_model"
	databases.once.Do(func() {
		if databases.err = execute(s.AdminURL(), "create database "+model+" template template0 strategy file_copy"); databases.err == nil {
			_, _, databases.err = migrations.Up(context.Background(), s.AdminURLFor(model), rolePrefix)
		}
	})
	name := fmt.Sprintf("fault_%d", databases.count.Add(1))
	if databases.err == nil {
		databases.err = execute(s.AdminURL(), "create database "+name+" template "+model+" strategy file_copy")
	}
	if databases.err != nil {
		t.Fatalf("make a database: %v", databases.err)
	}
	t.Cleanup(func() {
		if err := execute(s.AdminURL(), "drop database "+name+" with (force)"); err != nil {
			t.Errorf("drop %s: %v", name, err)
		}
	})
	return s.AdminURLFor(name)
}

func execute(url, statement string) error {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	_, err = conn.Exec(ctx, statement)
	return err
}

// lab is a laboratory: watched folders, a daemon, a database, and a ledger of what was
// dropped that the daemon knows nothing of.
type lab struct {
	t      testing.TB
	dir    string
	url    string // superuser, past any proxy
	config string
	log    log
	daemon *daemon
	ledger ledger
	deaths int // of the daemon, unasked
}

// timing of the watched folders: short, for nobody writes slowly unless a test says so.
type timing struct{ quiet, incompleteAfter, rehashEvery time.Duration }

var quick = timing{quiet: 60 * time.Millisecond, incompleteAfter: 200 * time.Millisecond, rehashEvery: time.Hour}

// newLab makes a laboratory whose daemon reaches its database by daemonURL.
func newLab(t testing.TB, url, daemonURL string, times timing) *lab {
	t.Helper()
	l := &lab{t: t, dir: t.TempDir(), url: url}
	l.ledger.file = filepath.Join(l.dir, "ledger.ndjson")
	for _, root := range []string{rootDocuments, rootGC, rootDM} {
		if err := os.Mkdir(l.folder(root), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	quoted, err := json.Marshal(daemonURL)
	if err != nil {
		t.Fatal(err)
	}
	l.config = filepath.Join(l.dir, "underbond.yaml")
	text := fmt.Sprintf(`archive: archive
data: data
database: {role_prefix: %s, url: %s}
http: {address: "off"}
watch: {quiet: %s, incomplete_after: %s, scan_every: 250ms, rehash_every: %s}
folders:
  - {name: %s, path: documents, holds: documents}
  - {name: %s, path: gc-1, instrument: GC-1, zone: UTC}
  - {name: %s, path: dm-1, instrument: DM-1, zone: UTC}
`, rolePrefix, quoted, times.quiet, times.incompleteAfter, times.rehashEvery, rootDocuments, rootGC, rootDM)
	if err := os.WriteFile(l.config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if l.daemon != nil {
			l.daemon.kill()
		}
		if t.Failed() {
			t.Logf("the end of the daemon's log:\n%s", l.tail(60))
		}
	})
	return l
}

// quickLab is a laboratory with a database of its own and nothing in between.
func quickLab(t testing.TB) *lab {
	t.Helper()
	program(t, true)
	url := database(t)
	return newLab(t, url, url, quick)
}

func (l *lab) folder(root string) string { return filepath.Join(l.dir, root) }

func (l *lab) path(d drop) string { return filepath.Join(l.folder(d.Root), filepath.FromSlash(d.Path)) }

func (l *lab) archive() string { return filepath.Join(l.dir, "archive") }

func (l *lab) tail(n int) string {
	lines := strings.Split(strings.TrimSpace(l.log.String()), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}

// start begins a life of the sabotaged daemon with more environment.
func (l *lab) start(env ...string) {
	l.t.Helper()
	l.daemon = launch(l.t, &l.log, env, program(l.t, true), "serve", "-c", l.config)
}

// drop writes the files, each first into the ledger, whole and under its own name.
func (l *lab) drop(list []drop) {
	l.t.Helper()
	for _, d := range list {
		if err := l.ledger.enter(d); err != nil {
			l.t.Fatal(err)
		}
		path := l.path(d)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			l.t.Fatal(err)
		}
		if err := os.WriteFile(path+".tmp", d.Bytes, 0o644); err != nil {
			l.t.Fatal(err)
		}
		if err := os.Rename(path+".tmp", path); err != nil {
			l.t.Fatal(err)
		}
	}
}

// rest waits until everything that was dropped has found its end and nothing is left to
// do. A daemon that was killed meanwhile is started again, without the environment that
// killed it.
func (l *lab) rest() {
	l.t.Helper()
	conn := watcher{url: l.url}
	defer conn.close()
	await(l.t, "for the daemon to have nothing left to do", func() bool {
		if !l.daemon.alive() {
			if !l.daemon.killed() {
				l.t.Fatalf("the daemon ended by itself: %v", l.daemon.err)
			}
			l.deaths++
			l.start()
		}
		return conn.idle(&l.ledger)
	})
}

// play drops all phases, the first before the daemon starts, and stops the daemon in the end.
func (l *lab) play(env ...string) {
	l.t.Helper()
	for i, phase := range phases(l.t) {
		l.drop(phase)
		if i == 0 {
			l.start(env...)
		}
		l.rest()
	}
	l.stop()
}

// stop ends the daemon politely.
func (l *lab) stop() {
	l.t.Helper()
	l.daemon.stop(l.t)
}

// watcher looks at the database from outside; a connection that breaks is made anew.
type watcher struct {
	url  string
	conn *pgx.Conn
}

func (w *watcher) close() {
	if w.conn != nil {
		_ = w.conn.Close(context.Background())
	}
}

// idle tells whether every file of the ledger is there, no file is open and no batch is
// due, all at one moment. A database that does not answer is not idle.
func (w *watcher) idle(l *ledger) bool {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if w.conn == nil || w.conn.IsClosed() {
		conn, err := pgx.Connect(ctx, w.url)
		if err != nil {
			return false
		}
		w.conn = conn
	}
	roots, paths, sums := l.columns()
	var idle bool
	err := w.conn.QueryRow(ctx, `select not exists (select from core.arrival where state in ('in custody', 'parsing'))
		and not exists (select from core.batch where evaluated_version < version and method is not null)
		and not exists (select from unnest($1::text[], $2::text[], $3::bytea[]) as e(root, path, object)
			where not exists (select from core.arrival a where (a.root, a.path_text, a.object) = (e.root, e.path, e.object)))`, roots, paths, sums).Scan(&idle)
	return err == nil && idle
}
