package migrations

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"underbond/qc"
	"underbond/sql/queries"
	"underbond/sql/server/servertest"
)

func TestUpFromNothingAndAgain(t *testing.T) {
	url, prefix := servertest.Database(t), newPrefix()
	before, after, err := Up(t.Context(), url, prefix)
	if err != nil || before != 0 || after != Latest() {
		t.Fatalf("first: %d to %d, %v; want 0 to %d", before, after, err, Latest())
	}
	conn := connect(t, url)
	if err := Check(t.Context(), conn); err != nil {
		t.Error(err)
	}
	var genesis []byte
	if err := conn.QueryRow(t.Context(), "select hash from ledger.head").Scan(&genesis); err != nil {
		t.Fatal(err)
	}
	before, after, err = Up(t.Context(), url, prefix)
	if err != nil || before != Latest() || after != Latest() {
		t.Errorf("second: %d to %d, %v", before, after, err)
	}
	var still []byte
	if err := conn.QueryRow(t.Context(), "select hash from ledger.head").Scan(&still); err != nil || string(still) != string(genesis) {
		t.Errorf("migrating again changed the ledger (%v)", err)
	}
}

func TestUpTwiceAtOnce(t *testing.T) {
	url, prefix := servertest.Database(t), newPrefix()
	var group errgroup.Group
	for range 4 {
		group.Go(func() error {
			_, after, err := Up(context.Background(), url, prefix)
			if err == nil && after != Latest() {
				err = errors.New("not at the newest version")
			}
			return err
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	var applied int
	if err := connect(t, url).QueryRow(t.Context(), "select count(*) from core.migration where version_id > 0").Scan(&applied); err != nil || int64(applied) != Latest() {
		t.Errorf("%d migrations listed, want %d (%v)", applied, Latest(), err)
	}
}

func TestTwoInstallationsInOneCluster(t *testing.T) {
	first, second := newPrefix(), newPrefix()
	for _, prefix := range []string{first, second} {
		if _, _, err := Up(t.Context(), servertest.Database(t), prefix); err != nil {
			t.Errorf("%s: %v", prefix, err)
		}
	}
}

func TestNewerSchemaIsRefused(t *testing.T) {
	url, prefix := migrated(t)
	conn := connect(t, url)
	run(t, conn, "insert into core.migration (version_id, is_applied) values ($1, true)", Latest()+1)
	_, _, err := Up(t.Context(), url, prefix)
	if !errors.Is(err, ErrSchema) || !strings.Contains(err.Error(), "newer program") {
		t.Errorf("Up: %v", err)
	}
	if err := Check(t.Context(), conn); !errors.Is(err, ErrSchema) || !strings.Contains(err.Error(), "newer program") {
		t.Errorf("Check: %v", err)
	}
}

func TestCheckSaysWhatToDo(t *testing.T) {
	empty := connect(t, servertest.Database(t))
	oldURL, _ := migrated(t)
	old := connect(t, oldURL)
	run(t, old, "delete from core.migration where version_id = $1", Latest())
	noneURL, _ := migrated(t)
	none := connect(t, noneURL)
	run(t, none, "delete from core.migration")
	foreignURL, prefix := migrated(t)
	for name, c := range map[string]struct {
		conn *pgx.Conn
		want string
	}{
		"empty database":     {empty, `has not been prepared; run "underbond migrate"`},
		"older schema":       {old, `run "underbond migrate"`},
		"no migration":       {none, "is at version 0"},
		"login without role": {loginWithoutRole(t, foreignURL, prefix), "has not been prepared"},
	} {
		t.Run(name, func(t *testing.T) {
			err := Check(t.Context(), c.conn)
			if !errors.Is(err, ErrSchema) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, want %q", err, c.want)
			}
		})
	}
	closed := connect(t, foreignURL)
	_ = closed.Close(t.Context())
	if err := Check(t.Context(), closed); err == nil || errors.Is(err, ErrSchema) {
		t.Errorf("a database that does not answer is not a wrong schema: %v", err)
	}
}

func loginWithoutRole(t *testing.T, adminURL, prefix string) *pgx.Conn {
	t.Helper()
	run(t, connect(t, adminURL), "create role "+prefix+"_nobody nologin")
	return login(t, adminURL, prefix, "nobody")
}

func TestRolePrefix(t *testing.T) {
	for name, prefix := range map[string]string{
		"empty": "", "upper case": "Lab", "digit first": "1lab", "quote": `a"b`, "semicolon": "a;drop", "space": "a b", "hyphen": "lab-2", "too long": strings.Repeat("a", 42), "umlaut": "prüf",
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := Up(t.Context(), "postgres://nowhere.invalid/none", prefix)
			if err == nil || !strings.Contains(err.Error(), "role prefix") {
				t.Errorf("%q: %v", prefix, err)
			}
		})
	}
}

func TestEveryStatementFitsTheSchema(t *testing.T) {
	url, prefix := migrated(t)
	conn := login(t, url, prefix, "service")
	run(t, conn, "set search_path = ''")
	names := queries.Names()
	if len(names) < 50 {
		t.Fatalf("only %d statements", len(names))
	}
	for _, name := range names {
		if _, err := conn.Prepare(t.Context(), name, queries.Text(name)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestPublicationStepsAreThoseOfTheProgram(t *testing.T) {
	url, _ := migrated(t)
	rows, err := connect(t, url).Query(t.Context(), "select from_state, to_state from core.publication_step")
	if err != nil {
		t.Fatal(err)
	}
	inDatabase, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (pair [2]qc.Publication, err error) {
		return pair, row.Scan(&pair[0], &pair[1])
	})
	if err != nil {
		t.Fatal(err)
	}
	inProgram := qc.Transitions()
	order := func(a, b [2]qc.Publication) int {
		return strings.Compare(string(a[0])+">"+string(a[1]), string(b[0])+">"+string(b[1]))
	}
	slices.SortFunc(inDatabase, order)
	slices.SortFunc(inProgram, order)
	if !slices.Equal(inDatabase, inProgram) {
		t.Errorf("database: %q\nprogram:  %q", inDatabase, inProgram)
	}
}

func TestEveryTableAndViewIsExplained(t *testing.T) {
	url, _ := migrated(t)
	rows, err := connect(t, url).Query(t.Context(), `
		select n.nspname || '.' || c.relname, coalesce(obj_description(c.oid, 'pg_class'), '')
		from pg_class c join pg_namespace n on n.oid = c.relnamespace
		where n.nspname in ('core', 'ledger', 'lims', 'qa', 'classifier') and c.relkind in ('r', 'v', 'm', 'p')`)
	if err != nil {
		t.Fatal(err)
	}
	var name, comment string
	count := 0
	if _, err := pgx.ForEachRow(rows, []any{&name, &comment}, func() error {
		count++
		if comment == "" {
			t.Errorf("%s has no comment", name)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if count < 25 {
		t.Errorf("only %d tables and views", count)
	}
}

// TestOwnership: everything belongs to the owner role, so that no login of the service
// or of a reader owns, and with that may drop, anything.
func TestOwnership(t *testing.T) {
	url, prefix := migrated(t)
	var strangers []string
	err := connect(t, url).QueryRow(t.Context(), `
		select array(select n.nspname || '.' || c.relname from pg_class c join pg_namespace n on n.oid = c.relnamespace
			where n.nspname in ('core', 'ledger', 'lims', 'qa', 'classifier') and c.relkind in ('r', 'v', 'S') and pg_get_userbyid(c.relowner) <> $1
			union all
			select p.proname from pg_proc p join pg_namespace n on n.oid = p.pronamespace
			where n.nspname in ('core', 'ledger') and (pg_get_userbyid(p.proowner) <> $1 or p.proconfig is null))`, prefix+"_owner").Scan(&strangers)
	if err != nil {
		t.Fatal(err)
	}
	if len(strangers) > 0 {
		t.Errorf("not the owner's, or a function without a pinned search path: %q", strangers)
	}
}
