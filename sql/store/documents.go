package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/record"
	"underbond/qc/method"
	"underbond/qc/register"
	"underbond/qc/standard"
	"underbond/qc/worklist"
	"underbond/sql/queries"
)

// RecordDocument records a document and what follows from it: lines bind acquisitions,
// files that waited are tried again, batches whose evidence changed are withdrawn and
// marked for evaluation. A *record.DocumentConflict refuses it.
func (s *Store) RecordDocument(ctx context.Context, c *record.Claim, d *record.Document) (err error) {
	defer func() { s.ended(c, err) }()
	return s.write(ctx, "record "+d.Kind+" "+d.Name, func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		done, err := lockClaim(ctx, tx, c)
		if err != nil || done {
			return nil, err
		}
		e := &entry{kind: "document recorded", subject: fmt.Sprintf("%s %s version %s", d.Kind, d.Name, d.Version), reason: d.Reason,
			content: []any{d.Kind, d.Name, d.Version, d.Object.String(), d.Author, d.Reason}}
		if err := lockDocuments(ctx, tx, "lock_documents.sql"); err != nil {
			return nil, err
		}
		old, err := outdated(ctx, tx, d)
		if err != nil {
			return nil, err
		}
		id, fresh, err := putDocument(ctx, tx, c, d)
		if err != nil {
			return nil, err
		}
		if fresh && old {
			e.kind = "older document kept"
		} else if fresh {
			if e.events, err = s.apply(ctx, tx, id, d); err != nil {
				return nil, err
			}
		}
		return e, finish{state: "recorded"}.write(ctx, tx, c)
	})
}

// putDocument adds the document; fresh is false when the very same content was recorded before.
func putDocument(ctx context.Context, tx pgx.Tx, c *record.Claim, d *record.Document) (id int64, fresh bool, err error) {
	var effective *time.Time
	if d.Method != nil {
		effective = &d.Method.EffectiveFrom
	}
	err = tx.QueryRow(ctx, queries.Text("put_document.sql"), d.Kind, d.Name, d.Version, d.Object[:], c.ID, d.Author, d.Reason, effective, d.Body).Scan(&id)
	if err == nil {
		return id, true, nil
	}
	if !errors.Is(err, pgx.ErrNoRows) {
		return 0, false, fmt.Errorf("put document: %w", err)
	}
	var object []byte
	var path string
	if err := tx.QueryRow(ctx, queries.Text("document_by_key.sql"), d.Kind, d.Name, d.Version).Scan(&id, &object, &path); err != nil {
		return 0, false, fmt.Errorf("read the recorded document: %w", err)
	}
	if string(object) != string(d.Object[:]) {
		return 0, false, &record.DocumentConflict{Code: "document-version-changed", Message: fmt.Sprintf(
			"%s %s version %s was recorded from %s with other content; give the changed document a new version", d.Kind, d.Name, d.Version, path)}
	}
	return id, false, nil
}

func (s *Store) apply(ctx context.Context, tx pgx.Tx, id int64, d *record.Document) ([]event, error) {
	switch {
	case d.Method != nil:
		return nil, applyMethod(ctx, tx, d.Method)
	case d.Worklist != nil:
		return applyWorklist(ctx, tx, id, d.Worklist)
	case d.Register != nil:
		return applyRegister(ctx, tx, id, d.Register)
	case d.Standards != nil:
		return applyStandards(ctx, tx, id, d.Standards)
	}
	_, err := tx.Exec(ctx, queries.Text("retry_waiting.sql"), record.WaitProfile)
	return nil, err
}

func applyMethod(ctx context.Context, tx pgx.Tx, m *method.Method) error {
	if _, err := tx.Exec(ctx, queries.Text("retry_waiting.sql"), record.WaitMethod); err != nil {
		return fmt.Errorf("wake files that wait for a method: %w", err)
	}
	waiting, err := ids(ctx, tx, "batches_of_method.sql", m.Name)
	if err != nil || len(waiting) == 0 {
		return err
	}
	_, err = tx.Exec(ctx, queries.Text("pin_methods.sql"), waiting)
	return err
}

func applyWorklist(ctx context.Context, tx pgx.Tx, id int64, w *worklist.Worklist) ([]event, error) {
	var batch int64
	var revised bool
	var instrument, methodName string
	if err := tx.QueryRow(ctx, queries.Text("put_batch.sql"), w.Name, w.Instrument, w.Method, id).Scan(&batch, &revised, &instrument, &methodName); err != nil {
		return nil, fmt.Errorf("put batch %s: %w", w.Name, err)
	}
	if instrument != w.Instrument || methodName != w.Method {
		return nil, &record.DocumentConflict{Code: "worklist-changes-batch", Message: fmt.Sprintf(
			"batch %s is of method %s on %s; a new version of its worklist cannot move it to method %s on %s", w.Name, methodName, instrument, w.Method, w.Instrument)}
	}
	var positions []int
	var files, vials, samples, roles, bodies []string
	standards := [][]string{}
	for _, l := range w.Lines {
		body, err := json.Marshal(l)
		if err != nil {
			return nil, fmt.Errorf("encode line %d: %w", l.Position, err)
		}
		positions = append(positions, l.Position)
		files, vials, samples = append(files, l.File), append(vials, l.Vial), append(samples, l.Sample)
		roles, bodies = append(roles, l.Role), append(bodies, string(body))
		standards = append(standards, append([]string{}, l.Standards...))
	}
	encoded, err := json.Marshal(standards)
	if err != nil {
		return nil, fmt.Errorf("encode standards: %w", err)
	}
	if _, err := tx.Exec(ctx, queries.Text("put_lines.sql"), id, batch, w.Instrument, positions, files, vials, samples, roles, encoded, bodies); err != nil {
		return nil, fmt.Errorf("put the lines of %s: %w", w.Name, err)
	}
	bound, err := ids(ctx, tx, "bind_lines.sql", id)
	if err != nil {
		return nil, err
	}
	if _, err := tx.Exec(ctx, queries.Text("wake_files.sql"), bound); err != nil {
		return nil, fmt.Errorf("wake files that wait for a worklist: %w", err)
	}
	var events []event
	if revised {
		all := withdrawal{batches: []int64{batch}, reason: "worklist " + w.Name + " was revised: " + w.Reason}
		if events, err = all.write(ctx, tx, []int64{batch}); err != nil {
			return nil, err
		}
	}
	_, err = tx.Exec(ctx, queries.Text("pin_methods.sql"), []int64{batch})
	return events, err
}

func applyRegister(ctx context.Context, tx pgx.Tx, id int64, r *register.Register) ([]event, error) {
	before, err := retire(ctx, tx, "retire_samples.sql", r.Name, id)
	if err != nil {
		return nil, err
	}
	var names, lots, categories, producers, bodies []string
	changed := map[string]bool{}
	for _, sample := range r.Samples {
		body, err := json.Marshal(sample)
		if err != nil {
			return nil, fmt.Errorf("encode sample %s: %w", sample.ID, err)
		}
		names, lots, categories = append(names, sample.ID), append(lots, sample.Lot), append(categories, sample.Category)
		producers, bodies = append(producers, sample.Producer), append(bodies, string(body))
		var old register.Sample
		if text, known := before[sample.ID]; known && json.Unmarshal(text, &old) == nil && old.Category == sample.Category {
			continue // what evaluation sees of it is unchanged
		}
		changed[sample.ID] = true
	}
	for name := range before {
		if !slices.Contains(names, name) {
			changed[name] = true
		}
	}
	if err := refuseElsewhere(ctx, tx, "samples_elsewhere.sql", "sample", "register", r.Name, names); err != nil {
		return nil, err
	}
	if _, err := tx.Exec(ctx, queries.Text("put_samples.sql"), id, names, lots, categories, producers, bodies); err != nil {
		return nil, fmt.Errorf("put the samples of %s: %w", r.Name, err)
	}
	return reconsider(ctx, tx, "batches_of_samples.sql", changed, before, "register "+r.Name+" was corrected: "+r.Reason)
}

func applyStandards(ctx context.Context, tx pgx.Tx, id int64, l *standard.List) ([]event, error) {
	before, err := retire(ctx, tx, "retire_standards.sql", l.Name, id)
	if err != nil {
		return nil, err
	}
	var names, bodies []string
	changed := map[string]bool{}
	for _, std := range l.Standards {
		body, err := json.Marshal(std)
		if err != nil {
			return nil, fmt.Errorf("encode standard %s: %w", std.ID, err)
		}
		names, bodies = append(names, std.ID), append(bodies, string(body))
		if !sameStandard(before[std.ID], std) {
			changed[std.ID] = true
		}
	}
	for name := range before {
		if !slices.Contains(names, name) {
			changed[name] = true
		}
	}
	if err := refuseElsewhere(ctx, tx, "standards_elsewhere.sql", "standard", "standards list", l.Name, names); err != nil {
		return nil, err
	}
	if _, err := tx.Exec(ctx, queries.Text("put_standards.sql"), id, names, bodies); err != nil {
		return nil, fmt.Errorf("put the standards of %s: %w", l.Name, err)
	}
	return reconsider(ctx, tx, "batches_of_standards.sql", changed, before, "standards list "+l.Name+" was corrected: "+l.Reason)
}

// sameStandard tells whether a standard is as it was, wherever its rows stand in the list.
func sameStandard(before []byte, now standard.Standard) bool {
	var old standard.Standard
	if before == nil || json.Unmarshal(before, &old) != nil || len(old.Values) != len(now.Values) {
		return false
	}
	values := slices.Clone(now.Values)
	for i := range values {
		values[i].Row, old.Values[i].Row = 0, 0
	}
	now.Values = values
	a, errA := json.Marshal(old)
	b, errB := json.Marshal(now)
	return errA == nil && errB == nil && string(a) == string(b)
}

// retire takes the earlier versions' facts out of force and returns them by name.
func retire(ctx context.Context, tx pgx.Tx, query, name string, id int64) (map[string][]byte, error) {
	rows, err := tx.Query(ctx, queries.Text(query), name, id)
	if err != nil {
		return nil, fmt.Errorf("retire earlier facts of %s: %w", name, err)
	}
	before := map[string][]byte{}
	var key string
	var body []byte
	_, err = pgx.ForEachRow(rows, []any{&key, &body}, func() error {
		before[key] = slices.Clone(body)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("retire earlier facts of %s: %w", name, err)
	}
	return before, nil
}

func refuseElsewhere(ctx context.Context, tx pgx.Tx, query, what, document, name string, names []string) error {
	rows, err := tx.Query(ctx, queries.Text(query), name, names)
	if err != nil {
		return fmt.Errorf("look for %ss elsewhere: %w", what, err)
	}
	var key, other string
	var clashes []string
	if _, err := pgx.ForEachRow(rows, []any{&key, &other}, func() error {
		clashes = append(clashes, fmt.Sprintf("%s %s is in %s %s", what, key, document, other))
		return nil
	}); err != nil {
		return fmt.Errorf("look for %ss elsewhere: %w", what, err)
	}
	if len(clashes) > 0 {
		return &record.DocumentConflict{Code: what + "-registered-elsewhere", Message: strings.Join(clashes, "; ") + "; correct it there"}
	}
	return nil
}

// reconsider marks the batches that name changed facts, and withdraws what was released
// from those whose facts were there before: a fact that is merely new corrects nothing.
func reconsider(ctx context.Context, tx pgx.Tx, query string, changed map[string]bool, before map[string][]byte, reason string) ([]event, error) {
	if len(changed) == 0 {
		return nil, nil
	}
	marked, err := ids(ctx, tx, query, sorted(changed))
	if err != nil {
		return nil, err
	}
	if err := touch(ctx, tx, marked); err != nil {
		return nil, err
	}
	for name := range changed {
		if _, was := before[name]; !was {
			delete(changed, name)
		}
	}
	corrected, err := ids(ctx, tx, query, sorted(changed))
	if err != nil || len(corrected) == 0 {
		return nil, err
	}
	return withdrawal{batches: corrected, reason: reason}.write(ctx, tx, marked)
}

// lockDocuments takes the lock that recording a document holds alone and binding shares.
func lockDocuments(ctx context.Context, tx pgx.Tx, query string) error {
	if _, err := tx.Exec(ctx, queries.Text(query)); err != nil {
		return fmt.Errorf("%s: %w", query, err)
	}
	return nil
}

func sorted(set map[string]bool) []string {
	list := make([]string, 0, len(set))
	for name := range set {
		list = append(list, name)
	}
	slices.Sort(list)
	return list
}

// Documents lists every recorded version of a kind, oldest first.
func (s *Store) Documents(ctx context.Context, kind string) ([]record.StoredDocument, error) {
	return s.documents(ctx, "documents_of_kind.sql", kind)
}

// MethodsFor lists the method versions that batches on an instrument use or will use.
func (s *Store) MethodsFor(ctx context.Context, instrument string) ([]record.StoredDocument, error) {
	return s.documents(ctx, "methods_for_instrument.sql", instrument)
}

func (s *Store) documents(ctx context.Context, query, arg string) ([]record.StoredDocument, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	rows, err := s.pool.Query(ctx, queries.Text(query), arg)
	if err != nil {
		return nil, fmt.Errorf("read documents for %s: %w", arg, err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (record.StoredDocument, error) {
		var d record.StoredDocument
		var object []byte
		err := row.Scan(&d.Name, &d.Version, &object, &d.Body)
		copy(d.Object[:], object)
		return d, err
	})
	if err != nil {
		return nil, fmt.Errorf("read documents for %s: %w", arg, err)
	}
	return list, nil
}

// ids runs a query that gives one column of surrogate ids.
func ids(ctx context.Context, tx pgx.Tx, query string, args ...any) ([]int64, error) {
	rows, err := tx.Query(ctx, queries.Text(query), args...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", query, err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil {
		return nil, fmt.Errorf("%s: %w", query, err)
	}
	slices.Sort(list)
	return slices.Compact(list), nil
}
