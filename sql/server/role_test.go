//go:build unix

package server_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"underbond/sql/server"
)

func TestEnsureLogin(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	s := start(t, server.Options{Dir: dir})
	run(t, s.AdminURL(), "create role lab_writer nologin")
	run(t, s.AdminURL(), "create role lab_reader nologin")

	first, err := s.EnsureLogin(t.Context(), "lab_service", "lab_writer", "lab_reader")
	if err != nil {
		t.Fatal(err)
	}
	url := s.URL("lab_service", first, "postgres")
	for query, want := range map[string]bool{
		"select pg_has_role('lab_writer', 'member')": true,
		"select pg_has_role('lab_reader', 'member')": true,
		"select rolsuper or rolcreatedb or rolcreaterole or rolreplication or rolbypassrls from pg_roles where rolname = current_user": false,
	} {
		if got := value[bool](t, url, query); got != want {
			t.Errorf("%s: %v, want %v", query, got, want)
		}
	}

	t.Run("again", func(t *testing.T) {
		second, err := s.EnsureLogin(t.Context(), "lab_service")
		if err != nil {
			t.Fatal(err)
		}
		if second != first {
			t.Error("the password changed")
		}
	})
	t.Run("changed by hand", func(t *testing.T) {
		run(t, s.AdminURL(), "alter role lab_service superuser password 'other'")
		if _, err := s.EnsureLogin(t.Context(), "lab_service"); err != nil {
			t.Fatal(err)
		}
		if value[bool](t, url, "select rolsuper from pg_roles where rolname = current_user") {
			t.Error("the role is still superuser")
		}
	})
	t.Run("kept over a restart", func(t *testing.T) {
		mustStop(t, s)
		s := start(t, server.Options{Dir: dir})
		if _, err := pgx.Connect(t.Context(), s.URL("lab_service", first, "postgres")); err != nil {
			t.Error(err)
		}
		pgpass, err := os.ReadFile(s.PgpassFile())
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(pgpass), "*:*:*:lab_service:"+first+"\n") {
			t.Error("the password file for psql lacks the login")
		}
	})
}

func TestEnsureLoginRefuses(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: stateDir(t)})
	before := value[int](t, s.AdminURL(), "select count(*) from pg_roles")
	for name, role := range map[string]string{
		"empty": "", "path": "../escape", "quote": `a"b`, "capital": "Lab", "too long": strings.Repeat("a", 64),
		"administrator": server.AdminRole, "reserved by the server": "pg_lab",
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := s.EnsureLogin(t.Context(), role); err == nil {
				t.Errorf("role %q was accepted", role)
			}
		})
	}
	if _, err := s.EnsureLogin(t.Context(), "lab_service", "no_such_group"); err == nil || !strings.Contains(err.Error(), "no_such_group") {
		t.Errorf("membership in a missing role: %v", err)
	}
	if n := value[int](t, s.AdminURL(), "select count(*) from pg_roles where rolname <> 'lab_service'"); n != before {
		t.Errorf("%d roles, want %d", n, before)
	}
}

func TestEnsureDatabase(t *testing.T) {
	t.Parallel()
	s := start(t, server.Options{Dir: stateDir(t)})
	for _, role := range []string{"first_owner", "second_owner"} {
		run(t, s.AdminURL(), "create role "+role+" nologin")
		for range 2 {
			if err := s.EnsureDatabase(t.Context(), "bond \"store\"", role); err != nil {
				t.Fatal(err)
			}
		}
		url := s.AdminURLFor("bond \"store\"")
		if got := value[string](t, url, "select pg_get_userbyid(datdba) from pg_database where datname = current_database()"); got != role {
			t.Errorf("owner is %s, want %s", got, role)
		}
		run(t, url, "create table if not exists kept (n int)")
	}
	if err := s.EnsureDatabase(t.Context(), "orphan", "no_such_role"); err == nil {
		t.Error("a database of a missing role was made")
	}
}

// TestPasswordsStayOutOfTheLog provokes an error in the statement that sets a password.
func TestPasswordsStayOutOfTheLog(t *testing.T) {
	t.Parallel()
	lines := make(chan string, 10000)
	s := start(t, server.Options{Dir: stateDir(t), Log: func(line string) { lines <- line }})
	run(t, s.AdminURL(), "alter system set log_statement = 'all'")
	run(t, s.AdminURL(), "select pg_reload_conf()")
	// The setting reaches new sessions once the postmaster has read it.
	waitFor(t, "the setting to be read", func() bool { return value[string](t, s.AdminURL(), "show log_statement") == "all" })
	password, err := s.EnsureLogin(t.Context(), "lab_service")
	if err != nil {
		t.Fatal(err)
	}
	admin, err := os.ReadFile(filepath.Join(filepath.Dir(s.DataFolder()), "passwords", server.AdminRole))
	if err != nil {
		t.Fatal(err)
	}
	mustStop(t, s)
	close(lines)
	var statements bool
	for line := range lines {
		statements = statements || strings.Contains(line, "alter role")
		if strings.Contains(line, password) || strings.Contains(line, strings.TrimSpace(string(admin))) {
			t.Errorf("a password is in the log: %s", line)
		}
	}
	if !statements {
		t.Error("the log shows no statement, so the test proves nothing")
	}
}
