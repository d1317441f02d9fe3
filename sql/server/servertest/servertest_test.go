package servertest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gofrs/flock"
	"github.com/jackc/pgx/v5"
)

func TestMain(m *testing.M) { Main(m) }

func TestDatabasesAreSeparate(t *testing.T) {
	first, second := Database(t), Database(t)
	exec(t, first, "create table cask (wood text)")
	conn, err := pgx.Connect(t.Context(), second)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var there bool
	if err := conn.QueryRow(t.Context(), "select to_regclass('cask') is not null").Scan(&there); err != nil {
		t.Fatal(err)
	}
	if there {
		t.Error("a table of one test's database is seen in another's")
	}
}

func TestDatabaseIsDroppedWithItsSessions(t *testing.T) {
	var url string
	t.Run("user", func(t *testing.T) {
		url = Database(t)
		conn, err := pgx.Connect(t.Context(), url)
		if err != nil {
			t.Fatal(err)
		}
		_ = conn // left open on purpose
	})
	if _, err := pgx.Connect(t.Context(), url); err == nil || !strings.Contains(err.Error(), "does not exist") {
		t.Errorf("connect to a dropped database: %v", err)
	}
}

func TestRemoveAbandoned(t *testing.T) {
	parent := t.TempDir()
	now := time.Now()
	make := func(name string, age time.Duration) string {
		dir := filepath.Join(parent, name)
		if err := os.MkdirAll(filepath.Join(dir, "pg"), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(dir, now.Add(-age), now.Add(-age)); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	abandoned := make(dirPattern+"old", 2*time.Hour)
	fresh := make(dirPattern+"new", 0)
	foreign := make("something", 2*time.Hour)
	live := make(dirPattern+"live", 0)
	lock := flock.New(filepath.Join(live, "pg.lock"))
	if ok, err := lock.TryLock(); !ok || err != nil {
		t.Fatal(ok, err)
	}
	defer lock.Close()
	if err := os.Chtimes(live, now.Add(-2*time.Hour), now.Add(-2*time.Hour)); err != nil {
		t.Fatal(err)
	}

	removeAbandoned(parent, now)

	if _, err := os.Stat(abandoned); !os.IsNotExist(err) {
		t.Errorf("an abandoned cluster is still there: %v", err)
	}
	for _, dir := range []string{fresh, foreign, live} {
		if _, err := os.Stat(dir); err != nil {
			t.Errorf("removed what it must keep: %v", err)
		}
	}
}
