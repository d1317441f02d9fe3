package fault

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/custody"
)

// ledger is the oracle: what the generator dropped, written down before it did so.
type ledger struct {
	file  string
	drops []drop
}

// enter writes a file down and returns when that is on the disk.
func (l *ledger) enter(d drop) (err error) {
	f, err := os.OpenFile(l.file, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	sum := d.sum()
	line, err := json.Marshal(map[string]any{"root": d.Root, "path": d.Path, "sha256": hex.EncodeToString(sum[:]), "rows": d.Rows,
		"outcome": d.Outcome, "code": d.Code, "values": d.Values})
	if err != nil {
		return err
	}
	if _, err := f.Write(append(line, '\n')); err != nil {
		return err
	}
	l.drops = append(l.drops, d)
	return nil
}

// columns gives root, path and hash of each file.
func (l *ledger) columns() (roots, paths []string, sums [][]byte) {
	for _, d := range l.drops {
		sum := d.sum()
		roots, paths, sums = append(roots, d.Root), append(paths, d.Path), append(sums, sum[:])
	}
	return roots, paths, sums
}

// values are the results that readers must have in the end.
func (l *ledger) values() map[[3]string]float64 {
	last := map[[3]string]float64{}
	for _, d := range l.drops {
		for _, v := range d.Values {
			last[[3]string{v.Sample, v.Analyte, v.Basis}] = v.Value
		}
	}
	return last
}

// audit checks the conservation law between the ledger, the journal, the archive,
// Postgres and what readers see, and gives every breach. The daemon must not be running.
func (l *lab) audit() (breaches []string) {
	l.t.Helper()
	a := auditor{ledger: &l.ledger, archived: map[string]bool{}}
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, l.url)
	if err != nil {
		l.t.Fatal(err)
	}
	defer conn.Close(ctx)
	a.conn = conn
	for name, step := range map[string]func(context.Context) error{"arrivals": a.arrivals, "values": a.values, "chain": a.chain,
		"custody": func(ctx context.Context) error { return a.custody(ctx, l.archive()) }} {
		if err := step(ctx); err != nil {
			l.t.Fatalf("audit %s: %v", name, err)
		}
	}
	slices.Sort(a.breaches)
	return a.breaches
}

type auditor struct {
	ledger   *ledger
	conn     *pgx.Conn
	archived map[string]bool
	breaches []string
}

func (a *auditor) breach(format string, args ...any) {
	a.breaches = append(a.breaches, fmt.Sprintf(format, args...))
}

// arrivals: every file of the ledger is in exactly one state, the one it was dropped
// for, and nothing else has arrived.
func (a *auditor) arrivals(ctx context.Context) error {
	rows, err := a.conn.Query(ctx, `select a.root, a.path_text, encode(a.object, 'hex'), a.state, a.refusal_code,
		(select count(*) from core.acquisition_revision r where r.arrival = a.id) from core.arrival a order by a.id`)
	if err != nil {
		return err
	}
	found := map[string][]string{}
	var root, path, object, state, code string
	var count int
	if _, err := pgx.ForEachRow(rows, []any{&root, &path, &object, &state, &code, &count}, func() error {
		key := root + "/" + path + " " + object
		found[key] = append(found[key], fmt.Sprintf("%s %s with %d acquisitions", state, code, count))
		return nil
	}); err != nil {
		return err
	}
	for _, d := range a.ledger.drops {
		sum := d.sum()
		key := d.Root + "/" + d.Path + " " + hex.EncodeToString(sum[:])
		want := []string{fmt.Sprintf("%s %s with %d acquisitions", d.Outcome, d.Code, d.Rows)}
		if !slices.Equal(found[key], want) {
			a.breach("file %s is %q, must be %q", key, found[key], want)
		}
		delete(found, key)
	}
	for key, states := range found {
		a.breach("file %s was never dropped like this and is %q", key, states)
	}
	return nil
}

// values: readers see exactly what the ledger says.
func (a *auditor) values(ctx context.Context) error {
	rows, err := a.conn.Query(ctx, `select sample, analyte, basis, value from lims.released_result`)
	if err != nil {
		return err
	}
	want := a.ledger.values()
	var key [3]string
	var got *float64
	if _, err := pgx.ForEachRow(rows, []any{&key[0], &key[1], &key[2], &got}, func() error {
		v, expected := want[key]
		switch {
		case !expected:
			a.breach("%q is released, and once more or never expected", key)
		case got == nil || !(math.Abs(*got-v) <= 1e-4*v):
			a.breach("%q is released with %v, must be %v", key, deref(got), v)
		}
		delete(want, key)
		return nil
	}); err != nil {
		return err
	}
	for key, v := range want {
		a.breach("%q is not released, must be with %v", key, v)
	}
	return nil
}

func deref(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

// chain: the audit trail is whole.
func (a *auditor) chain(ctx context.Context) error {
	var broken *int64
	if err := a.conn.QueryRow(ctx, `select ledger.first_broken()`).Scan(&broken); err != nil {
		return err
	}
	if broken != nil {
		a.breach("the ledger is broken at entry %d", *broken)
	}
	return nil
}

// custody: the journal has every file of the ledger once, every object that is referred
// to is sound, and every other object is of the pipeline's own making.
func (a *auditor) custody(ctx context.Context, dir string) (err error) {
	archive, err := custody.OpenArchive(filepath.Join(dir, "store"))
	if err != nil {
		return err
	}
	journal, torn, err := custody.OpenJournal(filepath.Join(dir, "journal", "arrivals"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, journal.Close()) }()
	if torn != nil {
		a.breach("the journal was left torn at its end: %+v", torn)
	}
	arrived := map[string]int{}
	known := map[string]bool{}
	for r, err := range journal.Records(1) {
		if err != nil {
			return err
		}
		if r.Arrival != nil {
			arrived[r.Arrival.Root+"/"+r.Arrival.PathText+" "+r.Arrival.SHA256.String()]++
			known[r.Arrival.SHA256.String()] = true
		}
	}
	for _, d := range a.ledger.drops {
		sum := d.sum()
		key := d.Root + "/" + d.Path + " " + hex.EncodeToString(sum[:])
		if arrived[key] != 1 {
			a.breach("file %s stands %d times in the journal", key, arrived[key])
		}
		delete(arrived, key)
	}
	for key, n := range arrived {
		a.breach("file %s stands %d times in the journal and was never dropped like this", key, n)
	}
	return a.objects(ctx, archive, known)
}

func (a *auditor) objects(ctx context.Context, archive *custody.Archive, known map[string]bool) error {
	rows, err := a.conn.Query(ctx, `select encode(sha256, 'hex') from core.object`)
	if err != nil {
		return err
	}
	referred, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, text := range referred {
		known[text] = true
	}
	for text := range known {
		hash, err := custody.ParseHash(text)
		if err != nil {
			return err
		}
		if _, err := archive.Verify(ctx, hash); err != nil {
			a.breach("object %s is referred to: %v", text, err)
		}
	}
	return archive.Each(ctx, func(o custody.Object) error {
		if known[o.Hash.String()] {
			return nil
		}
		// What a kill left between the archive and the record: a reduction or an input.
		content, err := archive.ReadBytes(ctx, o.Hash, 1<<24)
		if err != nil || !json.Valid(content) {
			a.breach("object %s belongs to nothing (%v)", o.Hash, err)
		}
		return nil
	})
}
