package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/parsers"
	"underbond/sql/queries"
)

// RecordAcquisitions records what was read from a file. An acquisition that is there
// with the same content is left as it is; with other content it gets a new revision, and
// what was released from the old one is withdrawn in the same transaction.
func (s *Store) RecordAcquisitions(ctx context.Context, c *record.Claim, list []record.Acquisition, warnings []parsers.Problem) (err error) {
	defer func() { s.ended(c, err) }()
	return s.write(ctx, "record "+c.PathText, func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		done, err := lockClaim(ctx, tx, c)
		if err != nil || done {
			return nil, err
		}
		if err := lockDocuments(ctx, tx, "share_documents.sql"); err != nil {
			return nil, err
		}
		change, err := putAcquisitions(ctx, tx, c, list)
		if err != nil {
			return nil, err
		}
		e := &entry{kind: "recorded", subject: c.Root + "/" + c.PathText, content: []any{c.Object.String(), change.content}}
		if _, err := tx.Exec(ctx, queries.Text("bind_acquisitions.sql"), change.all); err != nil {
			return nil, fmt.Errorf("bind to worklist lines: %w", err)
		}
		members, err := membership(ctx, tx, change.all)
		if err != nil {
			return nil, err
		}
		marked := members.batches(change.fresh)
		if err := touch(ctx, tx, marked); err != nil {
			return nil, err
		}
		if len(change.revised) > 0 && !faultpoint.Off("withdraw-on-change") {
			e.reason = "source changed"
			w := withdrawal{acquisitions: change.revised, batches: members.judged(change.revised), reason: "source changed: " + c.PathText}
			if e.events, err = w.write(ctx, tx, marked); err != nil {
				return nil, err
			}
		}
		if _, err := tx.Exec(ctx, queries.Text("pin_methods.sql"), members.batches(change.all)); err != nil {
			return nil, fmt.Errorf("pin methods: %w", err)
		}
		f := finish{state: "recorded", problems: warnings}
		if len(change.fresh) == 0 || !members.named() {
			if f, err = unbound(ctx, tx, c, list, members.named(), warnings); err != nil {
				return nil, err
			}
		}
		c.Batches, c.WaitingFor = members.names(), f.waitingFor
		return e, f.write(ctx, tx, c)
	})
}

// unbound is the state of a file that brings nothing new, or that no worklist line names.
func unbound(ctx context.Context, tx pgx.Tx, c *record.Claim, list []record.Acquisition, named bool, warnings []parsers.Problem) (finish, error) {
	same, err := ids(ctx, tx, "same_bytes_before.sql", c.ID)
	if err != nil {
		return finish{}, err
	}
	if len(same) > 0 {
		return finish{state: "recorded", duplicateOf: &same[0], problems: warnings}, nil
	}
	if named {
		return finish{state: "recorded", problems: warnings}, nil
	}
	what := "a worklist for " + c.Instrument + " that names "
	if len(list) == 1 {
		what += "file " + list[0].File
	} else {
		what += fmt.Sprintf("file %s or one of its %d acquisitions", list[0].File, len(list))
	}
	return finish{state: "waiting", waitingKind: record.WaitWorklist, waitingFor: what, problems: warnings}, nil
}

// changes are the acquisitions of a file: all, those with a new revision, and of these
// the ones that had one before.
type changes struct {
	all, fresh, revised []int64
	content             []any
}

func putAcquisitions(ctx context.Context, tx pgx.Tx, c *record.Claim, list []record.Acquisition) (changes, error) {
	var change changes
	keys := make([]string, len(list))
	for i, a := range list {
		keys[i] = a.Key
	}
	known, err := findAcquisitions(ctx, tx, c.Instrument, keys)
	if err != nil {
		return change, err
	}
	for _, a := range list {
		k := known[a.Key]
		change.all = append(change.all, k.id)
		revision := k.revision
		if string(k.digest) != string(a.Digest[:]) || faultpoint.Off("duplicate-key") {
			if revision, err = putRevision(ctx, tx, c, k.id, a); err != nil {
				return change, err
			}
			change.fresh = append(change.fresh, k.id)
			if k.digest != nil {
				change.revised = append(change.revised, k.id)
			}
			change.content = append(change.content, []any{a.Instrument, a.Key, a.Digest.String()})
		}
		if err := putReductions(ctx, tx, revision, c.Archive, a.Reductions); err != nil {
			return change, fmt.Errorf("put reductions of %s: %w", a.Key, err)
		}
	}
	return change, nil
}

type knownAcquisition struct {
	id, revision int64
	digest       []byte // nil: it has no revision yet
}

// findAcquisitions finds the acquisitions of an instrument by key, after making those that
// are not there, and locks them: what another worker does to them at the same time is
// seen, or waits.
func findAcquisitions(ctx context.Context, tx pgx.Tx, instrument string, keys []string) (map[string]knownAcquisition, error) {
	for _, query := range []string{"put_acquisitions.sql", "lock_acquisitions.sql"} {
		if _, err := tx.Exec(ctx, queries.Text(query), instrument, keys); err != nil {
			return nil, fmt.Errorf("%s: %w", query, err)
		}
	}
	rows, err := tx.Query(ctx, queries.Text("find_acquisitions.sql"), instrument, keys)
	if err != nil {
		return nil, fmt.Errorf("find acquisitions: %w", err)
	}
	known := map[string]knownAcquisition{}
	var key string
	var k knownAcquisition
	_, err = pgx.ForEachRow(rows, []any{&k.id, &key, &k.revision, &k.digest}, func() error {
		k.digest = slices.Clone(k.digest)
		known[key] = k
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("find acquisitions: %w", err)
	}
	return known, nil
}

func putRevision(ctx context.Context, tx pgx.Tx, c *record.Claim, acquisition int64, a record.Acquisition) (int64, error) {
	header, err := json.Marshal(a.Header)
	if err != nil {
		return 0, fmt.Errorf("encode the header of %s: %w", a.Key, err)
	}
	if a.Problems == nil {
		a.Problems = []parsers.Problem{}
	}
	problems, err := json.Marshal(a.Problems)
	if err != nil {
		return 0, fmt.Errorf("encode the problems of %s: %w", a.Key, err)
	}
	var id int64
	err = tx.QueryRow(ctx, queries.Text("put_acquisition_revision.sql"), acquisition, a.Digest[:], c.ID, a.Record, a.File, a.Header.Vial, header, problems,
		a.Started.Local, a.Started.Zone, a.Started.At, string(a.Started.Status)).Scan(&id)
	if err != nil {
		return 0, fmt.Errorf("put revision of %s: %w", a.Key, err)
	}
	return id, nil
}

func putReductions(ctx context.Context, tx pgx.Tx, revision int64, archive string, list []record.Reduction) error {
	for _, r := range list {
		if _, err := tx.Exec(ctx, queries.Text("put_objects.sql"), [][]byte{r.Object[:]}, []int64{r.Size}, archive); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, queries.Text("put_reduction.sql"), revision, r.Plan[:], r.Engine, r.Object[:]); err != nil {
			return err
		}
	}
	return nil
}

// memberOf says that an acquisition stands in a batch, and as what.
type memberOf struct {
	name               string // of the batch
	batch, acquisition int64
	role               string
	named              bool // the line names the acquisition as it is now
}

type memberships []memberOf

func membership(ctx context.Context, tx pgx.Tx, acquisitions []int64) (memberships, error) {
	rows, err := tx.Query(ctx, queries.Text("batches_of_acquisitions.sql"), acquisitions)
	if err != nil {
		return nil, fmt.Errorf("find the batches of acquisitions: %w", err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (memberOf, error) {
		var m memberOf
		err := row.Scan(&m.batch, &m.name, &m.acquisition, &m.role, &m.named)
		return m, err
	})
	if err != nil {
		return nil, fmt.Errorf("find the batches of acquisitions: %w", err)
	}
	return list, nil
}

// named tells whether any line names any of the acquisitions.
func (m memberships) named() bool {
	return slices.ContainsFunc(m, func(x memberOf) bool { return x.named })
}

// names lists the batches concerned by name.
func (m memberships) names() []string {
	list := []string{}
	for _, x := range m {
		list = append(list, x.name)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// batches lists the batches that have one of the acquisitions.
func (m memberships) batches(acquisitions []int64) []int64 {
	return m.pick(func(x memberOf) bool { return slices.Contains(acquisitions, x.acquisition) })
}

// judged lists the batches in which one of the acquisitions is quality control or a
// calibrant: all that was released from such a batch rests on it.
func (m memberships) judged(acquisitions []int64) []int64 {
	return m.pick(func(x memberOf) bool { return x.role != "sample" && slices.Contains(acquisitions, x.acquisition) })
}

func (m memberships) pick(want func(memberOf) bool) []int64 {
	list := []int64{}
	for _, x := range m {
		if want(x) {
			list = append(list, x.batch)
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// touch marks batches for evaluation.
func touch(ctx context.Context, tx pgx.Tx, batches []int64) error {
	if len(batches) == 0 {
		return nil
	}
	if _, err := tx.Exec(ctx, queries.Text("touch_batches.sql"), batches); err != nil {
		return fmt.Errorf("mark batches for evaluation: %w", err)
	}
	return nil
}
