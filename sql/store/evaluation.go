package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/qc"
	"underbond/qc/method"
	"underbond/sql/queries"
)

// WriteReductions keeps where reductions made for an evaluation are.
func (s *Store) WriteReductions(ctx context.Context, archive string, revision int64, list []record.Reduction) error {
	return s.write(ctx, "write reductions", func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		return nil, putReductions(ctx, tx, revision, archive, list)
	})
}

// WriteEvaluation writes what an evaluation changed: verdicts, calibrations and results
// that differ from the current ones, and what follows for publication. When the batch or
// a result it used has changed since the snapshot, nothing is written and the error is
// record.ErrStale.
func (s *Store) WriteEvaluation(ctx context.Context, snap *record.Snapshot, e record.Evaluated) error {
	name := snap.Input.Batch.Name
	return s.write(ctx, "write the evaluation of "+name, func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		w := writing{ctx: ctx, tx: tx, snap: snap, evaluated: e}
		done, err := w.begin()
		if err != nil || done {
			return nil, err
		}
		for _, step := range []func() error{w.calibrations, w.verdicts, w.findings, w.results, w.dependents} {
			if err := step(); err != nil {
				return nil, err
			}
		}
		return &entry{kind: "evaluated", subject: fmt.Sprintf("%s#%d", name, w.number), reason: w.reason(),
			content: []any{name, w.number, e.Input.String(), e.Output.String(), e.Evaluation.Engine, e.Architecture, w.content}, events: w.events}, nil
	})
}

// writing is one evaluation being written.
type writing struct {
	ctx       context.Context
	tx        pgx.Tx
	snap      *record.Snapshot
	evaluated record.Evaluated

	id      int64 // of the evaluation
	number  int
	release method.Release
	used    map[qc.Pin]int64

	events     []event
	content    []any
	superseded []int64  // released revisions that are no longer
	strengths  []string // samples whose strength is newly released
}

func (w *writing) begin() (done bool, err error) {
	// Results before batches, as a withdrawal locks them.
	if err := w.lockUsed(); err != nil {
		return false, err
	}
	var version, evaluatedVersion int64
	var state, name string
	var release []byte
	var withdrawn bool
	if err := w.tx.QueryRow(w.ctx, queries.Text("lock_batch.sql"), w.snap.Batch).Scan(&version, &evaluatedVersion, &state, &name, &release, &withdrawn); err != nil {
		return false, fmt.Errorf("lock the batch: %w", err)
	}
	if version != w.snap.Version && !faultpoint.Off("evaluation-version") {
		return false, record.ErrStale
	}
	if evaluatedVersion == version {
		return true, nil // an earlier run of this transaction whose answer was lost, or another daemon
	}
	if err := json.Unmarshal(release, &w.release); err != nil {
		return false, fmt.Errorf("read who may release: %w", err)
	}
	after, cause := "open", ""
	if w.evaluated.Evaluation.Closed {
		after, cause = "closed", w.snap.Input.Batch.Cause
	}
	if _, err := w.tx.Exec(w.ctx, queries.Text("mark_evaluated.sql"), w.snap.Batch, version, after, cause); err != nil {
		return false, fmt.Errorf("mark the batch as evaluated: %w", err)
	}
	if w.evaluated.Input == w.snap.Previous && !withdrawn {
		return true, nil // nothing that matters has changed
	}
	if _, err := w.tx.Exec(w.ctx, queries.Text("put_objects.sql"), [][]byte{w.evaluated.Input[:]}, []int64{w.evaluated.InputSize}, w.evaluated.Archive); err != nil {
		return false, fmt.Errorf("put the input: %w", err)
	}
	err = w.tx.QueryRow(w.ctx, queries.Text("put_evaluation.sql"), w.snap.Batch, version, w.evaluated.Input[:], w.evaluated.Output[:],
		w.evaluated.Evaluation.Engine, w.evaluated.Architecture).Scan(&w.id, &w.number)
	if err != nil {
		return false, fmt.Errorf("put the evaluation: %w", err)
	}
	return false, nil
}

// lockUsed locks the results of other batches that this evaluation was made from, and
// makes sure that they are still what they were.
func (w *writing) lockUsed() error {
	names := []string{}
	for _, r := range w.snap.Input.Related {
		names = append(names, r.Result)
	}
	slices.Sort(names)
	rows, err := w.tx.Query(w.ctx, queries.Text("lock_used.sql"), names)
	if err != nil {
		return fmt.Errorf("lock related results: %w", err)
	}
	w.used = map[qc.Pin]int64{}
	var id int64
	var name string
	var digest []byte
	if _, err := pgx.ForEachRow(rows, []any{&id, &name, &digest}, func() error {
		w.used[qc.Pin{Result: name, Revision: hexOf(digest)}] = id
		return nil
	}); err != nil {
		return fmt.Errorf("lock related results: %w", err)
	}
	for _, r := range w.snap.Input.Related {
		if _, there := w.used[qc.Pin{Result: r.Result, Revision: r.Revision}]; !there {
			return record.ErrStale
		}
	}
	return nil
}

// present reads name, digest and id of the batch's current rows.
func (w *writing) present(query string) (digests map[string]string, ids map[string]int64, err error) {
	rows, err := w.tx.Query(w.ctx, queries.Text(query), w.snap.Batch)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", query, err)
	}
	digests, ids = map[string]string{}, map[string]int64{}
	var name string
	var digest []byte
	var id int64
	if _, err := pgx.ForEachRow(rows, []any{&name, &digest, &id}, func() error {
		digests[name], ids[name] = hexOf(digest), id
		return nil
	}); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", query, err)
	}
	return digests, ids, nil
}

func (w *writing) calibrations() error {
	digests, ids, err := w.present("current_calibrations.sql")
	if err != nil {
		return err
	}
	batch := &pgx.Batch{}
	for _, c := range w.evaluated.Evaluation.Calibrations {
		digest, body, err := qc.Digest(c)
		if err != nil {
			return fmt.Errorf("digest of the calibration of %s: %w", c.Analyte, err)
		}
		if key := c.Run + "/" + c.Analyte; digests[key] == digest {
			delete(ids, key)
			continue
		}
		raw := rawHash(digest)
		batch.Queue(queries.Text("put_calibration.sql"), w.id, w.snap.Batch, c.Run, c.Analyte, c.Accepted, raw, body)
		w.content = append(w.content, []any{"calibration", c.Analyte, digest})
	}
	return w.replace("retire_calibrations.sql", ids, batch)
}

func (w *writing) verdicts() error {
	digests, ids, err := w.present("current_verdicts.sql")
	if err != nil {
		return err
	}
	batch := &pgx.Batch{}
	for _, c := range w.evaluated.Evaluation.Checks {
		digest, _, err := qc.Digest(c)
		if err != nil {
			return fmt.Errorf("digest of check %s: %w", c.ID, err)
		}
		if digests[c.ID] == digest {
			delete(ids, c.ID)
			continue
		}
		covers, err := json.Marshal(append([]qc.Cover{}, c.Covers...))
		if err != nil {
			return fmt.Errorf("encode what %s covers: %w", c.ID, err)
		}
		batch.Queue(queries.Text("put_verdict.sql"), w.id, w.snap.Batch, c.ID, c.Rule, c.Scope, c.Analyte, c.Subject, c.Acquisition, append([]int{}, c.Positions...),
			c.Statistic, c.Observed, c.LimitLow, c.LimitHigh, c.Unit, c.Verdict, c.Reason, c.WaitingFor, c.Source, rawHash(digest), covers)
		w.content = append(w.content, []any{"check", c.ID, digest})
	}
	return w.replace("retire_verdicts.sql", ids, batch)
}

// findings have no content beside their name: one is either there or not.
func (w *writing) findings() error {
	_, ids, err := w.present("current_findings.sql")
	if err != nil {
		return err
	}
	batch := &pgx.Batch{}
	for _, f := range w.evaluated.Evaluation.Findings {
		key := f.Code + "|" + f.Subject + "|" + f.Text
		if _, there := ids[key]; there {
			delete(ids, key)
			continue
		}
		batch.Queue(queries.Text("put_finding.sql"), w.id, w.snap.Batch, f.Code, f.Subject, f.Text)
		w.content = append(w.content, []any{"finding", f.Code, f.Subject, f.Text})
	}
	return w.replace("retire_findings.sql", ids, batch)
}

// replace retires the rows that are left in ids and sends the new ones.
func (w *writing) replace(retire string, ids map[string]int64, batch *pgx.Batch) error {
	old := make([]int64, 0, len(ids))
	for _, id := range ids {
		old = append(old, id)
	}
	slices.Sort(old)
	if len(old) > 0 {
		if _, err := w.tx.Exec(w.ctx, queries.Text(retire), old); err != nil {
			return fmt.Errorf("%s: %w", retire, err)
		}
	}
	if batch.Len() == 0 {
		return nil
	}
	if err := w.tx.SendBatch(w.ctx, batch).Close(); err != nil {
		return fmt.Errorf("write after %s: %w", retire, err)
	}
	return nil
}

// dependents withdraws what was computed with results that are no longer released, and
// marks batches that wait for a strength which is now there.
func (w *writing) dependents() error {
	if len(w.superseded) > 0 {
		events, err := withdrawal{used: w.superseded, reason: "a result that it was computed with has changed"}.write(w.ctx, w.tx, nil)
		if err != nil {
			return err
		}
		w.events = append(w.events, events...)
	}
	if len(w.strengths) == 0 {
		return nil
	}
	slices.Sort(w.strengths)
	batches, err := ids(w.ctx, w.tx, "batches_needing_strength.sql", slices.Compact(w.strengths), w.snap.Batch)
	if err != nil {
		return err
	}
	return touch(w.ctx, w.tx, batches)
}

func (w *writing) reason() string {
	counts := map[string]int{}
	for _, e := range w.events {
		counts[e.Kind]++
	}
	var parts []string
	for _, kind := range []string{"released", "corrected", "withdrawn"} {
		if counts[kind] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[kind], kind))
		}
	}
	return strings.Join(parts, ", ")
}

func rawHash(digest string) []byte {
	hash, err := record.ParseHash(digest)
	if err != nil {
		panic(err) // digests come from qc.Digest
	}
	return hash[:]
}

// errNoRevision: the acquisition revision of a result is no longer the head.
var errNoRevision = errors.New("the acquisition has a newer revision")
