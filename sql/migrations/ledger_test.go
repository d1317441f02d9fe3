package migrations

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"
)

// oneResult makes what the feed needs to show events of one result, and nothing more.
const oneResult = `
insert into core.object values (sha256('x'), 1, 'archive');
insert into core.arrival (daemon, journal, root, instrument, holds, path, path_text, source_mtime, object, size, end_proof, incomplete, taken_at, state)
	values ('daemon', 1, 'root', 'GC-1', 'exports', 'x', 'x', now(), sha256('x'), 1, '', '', now(), 'recorded');
insert into core.document (kind, name, version, object, arrival, author, reason, effective_from, body)
	values ('method', 'm', '1', sha256('x'), 1, '', '', now(), '{}'), ('worklist', 'w', '1', sha256('x'), 1, '', '', null, '{}');
insert into core.batch (name, instrument, method_name, worklist, method) values ('w', 'GC-1', 'm', 2, 1);
insert into core.acquisition (instrument, key) values ('GC-1', 'a');
insert into core.acquisition_revision (acquisition, number, digest, arrival, record, file, vial, header, problems, started_local, zone, start_status)
	values (1, 1, sha256('x'), 1, 1, 'x', '', '{}', '[]', '', '', 'absent');
insert into core.evaluation (batch, number, batch_version, input, output, engine, architecture) values (1, 1, 1, sha256('x'), sha256('x'), '', '');
insert into core.result (public_id, batch, acquisition, sample, analyte, basis) values ('r', 1, 1, 's', 'methanol', 'as is');
insert into core.result_revision (result, number, evaluation, acquisition_revision, digest, position, value, reported, unit, censored, qualifiers,
	quantity, kind, cas, notices, disposition, publication, authoriser)
	values (1, 1, 1, 1, sha256('x'), 1, 1.5, '1.5', 'mg/L', '', '{}', '', '', '', '[]', 'clear', 'released', 'somebody');`

const (
	writers = 8
	each    = 30
)

// TestLedgerUnderManyWriters: writers commit, roll back and dawdle; the numbers stay
// dense, the chain unbroken, and one who follows the feed sees each event once, in order.
func TestLedgerUnderManyWriters(t *testing.T) {
	url, prefix := migrated(t)
	admin := connect(t, url)
	run(t, admin, oneResult)
	conns := []*pgx.Conn{login(t, url, prefix, "service")}
	for len(conns) < writers {
		conns = append(conns, connectAs(t, url, prefix+"_login_service"))
	}
	reader := login(t, url, prefix, "lims")

	done := make(chan struct{})
	var following errgroup.Group
	var seen []string
	following.Go(func() (err error) {
		seen, err = follow(t.Context(), reader, done)
		return err
	})
	var writing errgroup.Group
	for i, conn := range conns {
		writing.Go(func() error { return write(t.Context(), conn, i) })
	}
	err := writing.Wait()
	close(done)
	if err := errors.Join(err, following.Wait()); err != nil {
		t.Fatal(err)
	}

	var count, newest int64
	if err := admin.QueryRow(t.Context(), "select count(*), max(seq) from ledger.entry where seq > 0").Scan(&count, &newest); err != nil {
		t.Fatal(err)
	}
	if want := int64(writers * each * 2 / 3); count != want || newest != count {
		t.Errorf("%d entries up to %d, want %d without gaps", count, newest, want)
	}
	wantBroken(t, admin, nil)
	rows, err := admin.Query(t.Context(), "select format('%s/%s %s', seq, ordinal, reason) from ledger.event order by seq, ordinal")
	if err != nil {
		t.Fatal(err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 || !slices.Equal(seen, all) {
		t.Errorf("the follower saw %d events, the ledger has %d, or in another order", len(seen), len(all))
	}
	var falling int
	if err := admin.QueryRow(t.Context(), "select count(*) from ledger.entry a join ledger.entry b on b.seq = a.seq + 1 where b.at < a.at").Scan(&falling); err != nil || falling > 0 {
		t.Errorf("time falls %d times (%v)", falling, err)
	}
}

// write appends entries, each with one or more events; each third is rolled back, some
// after they have the head, and some transactions are open for long before.
func write(ctx context.Context, conn *pgx.Conn, writer int) error {
	for i := range each {
		tx, err := conn.Begin(ctx)
		if err != nil {
			return err
		}
		if (writer+i)%5 == 0 {
			if _, err := tx.Exec(ctx, "select pg_sleep(0.005)"); err != nil {
				return err
			}
		}
		var events []string
		for n := range 1 + i%3 {
			events = append(events, fmt.Sprintf(`{"kind": "released", "result": "r", "revision": 1, "reason": "writer %d entry %d event %d"}`, writer, i, n))
		}
		if _, err := tx.Exec(ctx, "select ledger.append($1, 'test', '', '', sha256(''), $2)", fmt.Sprint("writer ", writer), "["+strings.Join(events, ",")+"]"); err != nil {
			return err
		}
		if i%3 == 2 {
			err = tx.Rollback(ctx)
		} else {
			err = tx.Commit(ctx)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// follow reads on from the last seq it saw, until it finds nothing new after done.
func follow(ctx context.Context, conn *pgx.Conn, done <-chan struct{}) (seen []string, err error) {
	last := int64(0)
	for {
		var finished bool
		select {
		case <-done:
			finished = true
		default:
		}
		rows, err := conn.Query(ctx, "select seq, ordinal, reason from lims.feed where seq > $1 order by seq, ordinal", last)
		if err != nil {
			return nil, err
		}
		before := len(seen)
		var seq int64
		var ordinal int
		var reason string
		if _, err := pgx.ForEachRow(rows, []any{&seq, &ordinal, &reason}, func() error {
			seen, last = append(seen, fmt.Sprintf("%d/%d %s", seq, ordinal, reason)), seq
			return nil
		}); err != nil {
			return nil, err
		}
		if finished && len(seen) == before {
			return seen, nil
		}
	}
}

func wantBroken(t *testing.T, admin *pgx.Conn, want *int64) {
	t.Helper()
	var got *int64
	if err := admin.QueryRow(t.Context(), "select ledger.first_broken()").Scan(&got); err != nil {
		t.Fatal(err)
	}
	if (got == nil) != (want == nil) || got != nil && *got != *want {
		t.Errorf("first broken: %s, want %s", text(got), text(want))
	}
}

func text(n *int64) string {
	if n == nil {
		return "none"
	}
	return fmt.Sprint(*n)
}

// TestTamperingIsNamed: what somebody with all rights does to the ledger behind the
// triggers' back is found, and the first entry that is no longer true is named.
func TestTamperingIsNamed(t *testing.T) {
	url, _ := migrated(t)
	admin := connect(t, url)
	for i := range 6 {
		run(t, admin, "select ledger.append('somebody', 'test', 'subject', 'reason', sha256(''), $1)",
			fmt.Sprintf(`[{"kind": "released", "result": "r%d", "revision": 1, "reason": "first"}, {"kind": "released", "result": "s%d", "revision": 1}]`, i, i))
	}
	wantBroken(t, admin, nil)
	for name, c := range map[string]struct {
		sql  string
		want int64
	}{
		"reason changed":            {"update ledger.entry set reason = 'other' where seq = 3", 3},
		"actor changed":             {"update ledger.entry set actor = 'other' where seq = 1", 1},
		"kind changed":              {"update ledger.entry set kind = 'other' where seq = 6", 6},
		"subject changed":           {"update ledger.entry set subject = 'other' where seq = 2", 2},
		"time moved":                {"update ledger.entry set at = at + interval '1 microsecond' where seq = 4", 4},
		"digest changed":            {"update ledger.entry set digest = sha256('other') where seq = 4", 4},
		"event changed":             {"update ledger.event set reason = 'other' where seq = 5 and ordinal = 1", 5},
		"event of another result":   {"update ledger.event set result = 'other' where seq = 2 and ordinal = 2", 2},
		"event of another revision": {"update ledger.event set revision = 2 where seq = 2 and ordinal = 2", 2},
		"event deleted":             {"delete from ledger.event where seq = 3 and ordinal = 2", 3},
		"event added":               {"insert into ledger.event values (3, 3, 'released', 'x', 1, null, '')", 3},
		"events swapped":            {"update ledger.event set ordinal = ordinal + 10 where seq = 3; update ledger.event set ordinal = 13 - ordinal where seq = 3", 3},
		"event without entry":       {"insert into ledger.event values (99, 1, 'released', 'x', 1, null, '')", 99},
		"entry deleted":             {"delete from ledger.entry where seq = 3", 3},
		"tail deleted":              {"delete from ledger.entry where seq >= 5; delete from ledger.event where seq >= 5", 5},
		"newest entry deleted":      {"delete from ledger.entry where seq = 6; delete from ledger.event where seq = 6", 6},
		"beginning deleted":         {"delete from ledger.entry where seq < 3; delete from ledger.event where seq < 3", 0},
		"genesis deleted":           {"delete from ledger.entry where seq = 0", 0},
		"genesis changed":           {"update ledger.entry set at = at - interval '1 day' where seq = 0", 0},
		"another genesis":           {"update ledger.entry set prev_hash = sha256('x') where seq = 0", 0},
		"head moved back":           {"update ledger.head set seq = 5", 6},
		"head and tail moved back": {`delete from ledger.entry where seq = 6; delete from ledger.event where seq = 6;
			update ledger.head set seq = 5`, 5},
		"head of another chain": {"update ledger.head set hash = sha256('x')", 6},
		"head's time changed":   {"update ledger.head set at = at + interval '1 hour'", 6},
		"head deleted":          {"delete from ledger.head", 7},
		"everything deleted":    {"delete from ledger.event; delete from ledger.entry", 0},
		"all and head deleted":  {"delete from ledger.event; delete from ledger.entry; delete from ledger.head", 0},
		"entry changed with its hash": {`update ledger.entry set reason = 'other' where seq = 3;
			update ledger.entry set hash = ledger.hash_of(seq, prev_hash, at, actor, kind, subject, reason, digest, ledger.events_of(seq)) where seq = 3`, 4},
		"entry inserted": {`update ledger.entry set seq = seq + 1 where seq = 6; update ledger.head set seq = 7;
			insert into ledger.entry select 6, at, actor, kind, subject, reason, digest, prev_hash, sha256('x') from ledger.entry where seq = 5`, 6},
	} {
		t.Run(name, func(t *testing.T) {
			run(t, admin, "begin")
			defer run(t, admin, "rollback")
			run(t, admin, "set local session_replication_role = replica; "+c.sql)
			wantBroken(t, admin, &c.want)
		})
	}
	wantBroken(t, admin, nil)
}

// TestLedgerRowsAreFinal: the triggers stop even the owner's and a superuser's mistakes.
func TestLedgerRowsAreFinal(t *testing.T) {
	url, _ := migrated(t)
	admin := connect(t, url)
	run(t, admin, `select ledger.append('somebody', 'test', '', '', sha256(''), '[{"kind": "released", "result": "r", "revision": 1}]')`)
	for _, sql := range []string{
		"update ledger.entry set reason = 'x'", "delete from ledger.entry", "truncate ledger.entry cascade",
		"update ledger.event set reason = 'x'", "delete from ledger.event", "truncate ledger.event",
	} {
		if _, err := admin.Exec(t.Context(), sql); err == nil || !strings.Contains(err.Error(), "never changed or deleted") {
			t.Errorf("%s: %v", sql, err)
		}
	}
	wantBroken(t, admin, nil)
}

func TestAppendRefuses(t *testing.T) {
	url, _ := migrated(t)
	admin := connect(t, url)
	for name, sql := range map[string]string{
		"no actor":                      "select ledger.append('', 'k', '', '', sha256(''), '[]')",
		"no kind":                       "select ledger.append('a', '', '', '', sha256(''), '[]')",
		"short digest":                  `select ledger.append('a', 'k', '', '', '\x00', '[]')`,
		"unknown event":                 `select ledger.append('a', 'k', '', '', sha256(''), '[{"kind": "guessed", "result": "r", "revision": 1}]')`,
		"correction without what":       `select ledger.append('a', 'k', '', '', sha256(''), '[{"kind": "corrected", "result": "r", "revision": 2}]')`,
		"release that corrects":         `select ledger.append('a', 'k', '', '', sha256(''), '[{"kind": "released", "result": "r", "revision": 2, "previous_revision": 1}]')`,
		"event without result":          `select ledger.append('a', 'k', '', '', sha256(''), '[{"kind": "released", "revision": 2}]')`,
		"events that are not a list":    `select ledger.append('a', 'k', '', '', sha256(''), '{"kind": "released"}')`,
		"two genesis entries, by chain": "insert into ledger.entry select * from ledger.entry",
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := admin.Exec(t.Context(), sql); err == nil {
				t.Error("accepted")
			}
		})
	}
	var seq int64
	if err := admin.QueryRow(t.Context(), "select seq from ledger.head").Scan(&seq); err != nil || seq != 0 {
		t.Errorf("refused entries moved the head to %d (%v)", seq, err)
	}
	wantBroken(t, admin, nil)
}
