package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/record"
	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/method"
	"underbond/qc/standard"
	"underbond/qc/worklist"
	"underbond/sql/queries"
)

// Due lists batches whose evaluation is due, longest waiting first.
func (s *Store) Due(ctx context.Context, limit int) ([]int64, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	rows, err := s.pool.Query(ctx, queries.Text("due_batches.sql"), limit)
	if err != nil {
		return nil, fmt.Errorf("look for due batches: %w", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil {
		return nil, fmt.Errorf("look for due batches: %w", err)
	}
	return list, nil
}

// Snapshot reads everything that an evaluation of the batch may depend on, as it is at
// one moment. Only the members' reductions are left for the caller to fetch or make.
func (s *Store) Snapshot(ctx context.Context, batch int64) (*record.Snapshot, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	snap := &record.Snapshot{Batch: batch}
	options := pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
	err := pgx.BeginTxFunc(ctx, s.pool, options, func(tx pgx.Tx) error {
		r := reading{ctx, tx, snap}
		for _, step := range []func() error{r.head, r.lines, r.members, r.unlisted, r.samples, r.standards, r.related} {
			if err := step(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read batch %d: %w", batch, err)
	}
	complete := len(snap.Input.Members) > 0
	for _, m := range snap.Input.Members {
		complete = complete && m.State == qc.MemberRecorded
	}
	if complete && !snap.Input.Batch.Closed {
		snap.Input.Batch.Closed, snap.Input.Batch.Cause = true, "worklist complete"
	}
	snap.Input.Documents = sortedRefs(snap.Input.Documents)
	return snap, nil
}

// reading is one snapshot in the making.
type reading struct {
	ctx  context.Context
	tx   pgx.Tx
	snap *record.Snapshot
}

// each runs a query over the batch and calls row after scanning each row into into.
func (r reading) each(query string, args, into []any, row func() error) error {
	rows, err := r.tx.Query(r.ctx, queries.Text(query), args...)
	if err != nil {
		return fmt.Errorf("%s: %w", query, err)
	}
	if _, err := pgx.ForEachRow(rows, into, row); err != nil {
		return fmt.Errorf("%s: %w", query, err)
	}
	return nil
}

func (r reading) head() error {
	in := &r.snap.Input
	in.Schema = qc.InputSchema
	in.Members, in.Unlisted = []qc.Member{}, []qc.Unlisted{}
	in.Samples, in.Standards, in.Related = []qc.SampleFacts{}, []standard.Standard{}, []qc.Related{}
	var state string
	var body, methodObject, worklistObject, previous []byte
	method, list := qc.DocumentRef{Kind: "method"}, qc.DocumentRef{Kind: "worklist"}
	err := r.tx.QueryRow(r.ctx, queries.Text("snapshot_batch.sql"), r.snap.Batch).Scan(&in.Batch.Name, &in.Batch.Instrument, &state, &in.Batch.Cause, &r.snap.Version,
		&body, &method.Name, &method.Version, &methodObject, &list.Name, &list.Version, &worklistObject, &previous)
	if err != nil {
		return fmt.Errorf("snapshot_batch.sql: %w", err)
	}
	if err := json.Unmarshal(body, &in.Method); err != nil {
		return fmt.Errorf("read method %s version %s as recorded: %w", method.Name, method.Version, err)
	}
	in.Batch.Closed = state == "closed" && in.Batch.Cause != "worklist complete" // completeness is found anew
	if !in.Batch.Closed {
		in.Batch.Cause = ""
	}
	method.SHA256, list.SHA256 = hexOf(methodObject), hexOf(worklistObject)
	in.Documents = []qc.DocumentRef{method, list}
	copy(r.snap.Previous[:], previous)
	plan, err := record.ParseHash(qc.NewPlan(&in.Method).Digest())
	if err != nil {
		return fmt.Errorf("digest of the reduction plan: %w", err)
	}
	r.snap.Plan = plan
	return nil
}

func (r reading) lines() error {
	var position int
	var body []byte
	return r.each("snapshot_lines.sql", []any{r.snap.Batch}, []any{&position, &body}, func() error {
		var l worklist.Line
		if err := json.Unmarshal(body, &l); err != nil {
			return fmt.Errorf("read line %d as recorded: %w", position, err)
		}
		r.snap.Input.Members = append(r.snap.Input.Members, qc.Member{Line: l, State: qc.MemberAwaited, Started: parsers.Started{Status: parsers.StartAbsent}})
		r.snap.Sources = append(r.snap.Sources, nil)
		return nil
	})
}

func (r reading) members() error {
	var position int
	var ref qc.AcquisitionRef
	var digest, object, reduction []byte
	var started startedRow
	var source record.Source
	a := &source.Arrival
	into := append([]any{&position, &ref.Instrument, &ref.Key, &source.Revision, &digest, &source.Record}, started.into()...)
	into = append(into, &a.Root, &a.Holds, &a.Path, &a.PathText, &object, &a.Size, &a.Instrument, &a.TakenAt, &reduction)
	return r.each("snapshot_members.sql", []any{r.snap.Batch, r.snap.Plan[:], qc.Engine}, into, func() error {
		i := slices.IndexFunc(r.snap.Input.Members, func(m qc.Member) bool { return m.Line.Position == position })
		m := &r.snap.Input.Members[i]
		this := qc.AcquisitionRef{Instrument: ref.Instrument, Key: ref.Key, Revision: hexOf(digest), File: a.PathText}
		m.Claimants = append(m.Claimants, this)
		if len(m.Claimants) > 1 {
			m.State, m.Acquisition, m.Started, r.snap.Sources[i] = qc.MemberAmbiguous, nil, parsers.Started{Status: parsers.StartAbsent}, nil
			return nil
		}
		from := source
		from.Arrival.Path = slices.Clone(a.Path)
		copy(from.Arrival.Object[:], object)
		from.Reduction = nil
		if reduction != nil {
			hash := record.Hash{}
			copy(hash[:], reduction)
			from.Reduction = &hash
		}
		m.State, m.Acquisition, m.Started, r.snap.Sources[i] = qc.MemberRecorded, &this, started.value(), &from
		return nil
	})
}

func (r reading) unlisted() error {
	// Claimants are worth naming only where there is a choice.
	for i := range r.snap.Input.Members {
		if m := &r.snap.Input.Members[i]; m.State != qc.MemberAmbiguous {
			m.Claimants = nil
		}
	}
	var ref qc.AcquisitionRef
	var digest []byte
	var started startedRow
	into := append([]any{&ref.Instrument, &ref.Key, &digest, &ref.File}, started.into()...)
	return r.each("snapshot_unlisted.sql", []any{r.snap.Batch}, into, func() error {
		this := ref
		this.Revision = hexOf(digest)
		r.snap.Input.Unlisted = append(r.snap.Input.Unlisted, qc.Unlisted{Acquisition: this, Started: started.value()})
		return nil
	})
}

func (r reading) samples() error {
	var facts qc.SampleFacts
	ref := qc.DocumentRef{Kind: "register"}
	var object []byte
	return r.each("snapshot_samples.sql", []any{r.snap.Batch}, []any{&facts.ID, &facts.Category, &ref.Name, &ref.Version, &object}, func() error {
		r.snap.Input.Samples = append(r.snap.Input.Samples, facts)
		r.addDocument(ref, object)
		return nil
	})
}

func (r reading) standards() error {
	var body, object []byte
	ref := qc.DocumentRef{Kind: "standards"}
	return r.each("snapshot_standards.sql", []any{r.snap.Batch}, []any{&body, &ref.Name, &ref.Version, &object}, func() error {
		var std standard.Standard
		if err := json.Unmarshal(body, &std); err != nil {
			return fmt.Errorf("read a standard of %s as recorded: %w", ref.Name, err)
		}
		r.snap.Input.Standards = append(r.snap.Input.Standards, std)
		r.addDocument(ref, object)
		return nil
	})
}

func (r reading) related() error {
	if !slices.ContainsFunc(r.snap.Input.Method.Analytes, func(a method.Analyte) bool { return a.Report.PerAlcohol != nil }) {
		return nil
	}
	var rel qc.Related
	var digest []byte
	return r.each("snapshot_related.sql", []any{r.snap.Batch}, []any{&rel.Quantity, &rel.Kind, &rel.Sample, &rel.Result, &digest, &rel.Value, &rel.Unit, &rel.Uncertainty}, func() error {
		this := rel
		this.Revision = hexOf(digest)
		r.snap.Input.Related = append(r.snap.Input.Related, this)
		return nil
	})
}

func (r reading) addDocument(ref qc.DocumentRef, object []byte) {
	ref.SHA256 = hexOf(object)
	if !slices.Contains(r.snap.Input.Documents, ref) {
		r.snap.Input.Documents = append(r.snap.Input.Documents, ref)
	}
}

// startedRow scans the columns of a start.
type startedRow struct {
	local, zone, status string
	at                  *time.Time
}

func (s *startedRow) into() []any { return []any{&s.local, &s.zone, &s.at, &s.status} }

func (s *startedRow) value() parsers.Started {
	out := parsers.Started{Local: s.local, Zone: s.zone, Status: parsers.StartStatus(s.status)}
	if s.at != nil {
		at := s.at.UTC()
		out.At = &at
	}
	return out
}

func hexOf(raw []byte) string {
	var h record.Hash
	copy(h[:], raw)
	return h.String()
}

func sortedRefs(list []qc.DocumentRef) []qc.DocumentRef {
	slices.SortFunc(list, func(a, b qc.DocumentRef) int {
		switch {
		case a.Kind != b.Kind:
			return strings.Compare(a.Kind, b.Kind)
		case a.Name != b.Name:
			return strings.Compare(a.Name, b.Name)
		}
		return strings.Compare(a.Version, b.Version)
	})
	return list
}

// CloseIdle closes batches that have not changed for so long, and returns their names.
// What they still lack is then missing, no longer awaited.
func (s *Store) CloseIdle(ctx context.Context, idle time.Duration) ([]string, error) {
	var names []string
	err := s.write(ctx, "close idle batches", func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		rows, err := tx.Query(ctx, queries.Text("close_idle.sql"), idle)
		if err != nil {
			return nil, err
		}
		names, err = pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil || len(names) == 0 {
			return nil, err
		}
		slices.Sort(names)
		return &entry{kind: "batch closed", subject: strings.Join(names, ", "), reason: fmt.Sprintf("unchanged for %s", idle), content: names}, nil
	})
	return names, err
}

// NoteBatch says what keeps a batch, as it was at version, from being evaluated. It is
// tried again when the batch changes.
func (s *Store) NoteBatch(ctx context.Context, batch, version int64, problem string) error {
	return s.write(ctx, "note what keeps a batch from evaluation", func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		_, err := tx.Exec(ctx, queries.Text("note_batch.sql"), batch, version, problem)
		return nil, err
	})
}
