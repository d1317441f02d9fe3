package migrations

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"go.uber.org/goleak"

	"underbond/sql/server/servertest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	err := servertest.Stop()
	if err == nil && code == 0 {
		err = goleak.Find()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = max(code, 1)
	}
	os.Exit(code)
}

var prefixes atomic.Int64

// newPrefix is one for one database: roles belong to the whole cluster.
func newPrefix() string { return fmt.Sprintf("m%d", prefixes.Add(1)) }

// migrated is a database of the newest schema.
func migrated(t *testing.T) (adminURL, prefix string) {
	t.Helper()
	adminURL, prefix = servertest.Database(t), newPrefix()
	if _, _, err := Up(t.Context(), adminURL, prefix); err != nil {
		t.Fatal(err)
	}
	return adminURL, prefix
}

func connect(t *testing.T, dsn string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

func run(t *testing.T, conn *pgx.Conn, sql string, args ...any) {
	t.Helper()
	if _, err := conn.Exec(t.Context(), sql, args...); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

// login makes a person or program that is a member of one role and nothing more.
func login(t *testing.T, adminURL, prefix, role string) *pgx.Conn {
	t.Helper()
	name := prefix + "_login_" + role
	run(t, connect(t, adminURL), fmt.Sprintf("create role %s login password 'secret' in role %s_%s", name, prefix, role))
	return connectAs(t, adminURL, name)
}

// connectAs is one more connection of a login.
func connectAs(t *testing.T, adminURL, name string) *pgx.Conn {
	t.Helper()
	u, err := url.Parse(adminURL)
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.UserPassword(name, "secret")
	return connect(t, u.String())
}
