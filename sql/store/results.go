package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/record"
	"underbond/qc"
	"underbond/sql/queries"
)

// head is the current revision of a result.
type head struct {
	result, revision int64
	number           int
	digest           string
	publication      qc.Publication
}

// results writes the results that differ from their current revision, and moves
// publication along.
func (w *writing) results() error {
	heads, err := w.heads()
	if err != nil {
		return err
	}
	for i := range w.evaluated.Evaluation.Results {
		r := &w.evaluated.Evaluation.Results[i]
		h, there := heads[r.ID]
		delete(heads, r.ID)
		digest, err := resultDigest(r, w.evaluated.Evaluation.Checks)
		if err != nil {
			return err
		}
		if there && h.digest == digest && h.publication != qc.PubWithdrawn && h.publication != qc.PubSuperseded {
			continue
		}
		if err := w.revise(r, digest, h, there); err != nil {
			return fmt.Errorf("result %s: %w", r.ID, err)
		}
	}
	return w.vanished(heads)
}

// resultDigest is the digest of a result's content: all but what it merely waits for,
// which changes with each arrival and follows from the pending verdicts.
func resultDigest(r *qc.Result, checks []qc.Check) (string, error) {
	content := *r
	content.WaitingFor = nil
	content.HeldBy = failing(r, checks)
	digest, _, err := qc.Digest(content)
	if err != nil {
		return "", fmt.Errorf("digest of result %s: %w", r.ID, err)
	}
	return digest, nil
}

// failing lists the checks that hold a result for good, without those still pending.
func failing(r *qc.Result, checks []qc.Check) []string {
	list := []string{}
	for _, id := range r.HeldBy {
		i := slices.IndexFunc(checks, func(c qc.Check) bool { return c.ID == id })
		if i >= 0 && checks[i].Verdict == qc.Pending {
			continue
		}
		list = append(list, id)
	}
	return list
}

func (w *writing) heads() (map[string]head, error) {
	rows, err := w.tx.Query(w.ctx, queries.Text("current_results.sql"), w.snap.Batch)
	if err != nil {
		return nil, fmt.Errorf("read current results: %w", err)
	}
	heads := map[string]head{}
	var name, publication string
	var h head
	var digest []byte
	if _, err := pgx.ForEachRow(rows, []any{&name, &h.result, &h.revision, &h.number, &digest, &publication}, func() error {
		h.digest, h.publication = hexOf(digest), qc.Publication(publication)
		heads[name] = h
		return nil
	}); err != nil {
		return nil, fmt.Errorf("read current results: %w", err)
	}
	return heads, nil
}

// target is the publication that a new revision starts in, and who authorises it.
func (w *writing) target(r *qc.Result) (qc.Publication, string) {
	if r.Disposition != qc.Clear {
		return qc.PubHeld, ""
	}
	m := w.snap.Input.Method
	if s := w.release.Standing; s != nil {
		return qc.PubReleased, fmt.Sprintf("standing authorisation of %s for %s version %s, signed %s", s.AuthorisedBy, m.Name, m.Version, s.SignedOn.Format("2006-01-02"))
	}
	return qc.PubCleared, ""
}

// revise writes a new revision of a result and retires the one before.
func (w *writing) revise(r *qc.Result, digest string, before head, there bool) error {
	target, authoriser := w.target(r)
	if !there {
		err := w.tx.QueryRow(w.ctx, queries.Text("put_result.sql"), r.ID, w.snap.Batch, r.Acquisition.Instrument, r.Acquisition.Key, r.Sample, r.Analyte, r.Basis).Scan(&before.result)
		if err != nil {
			return fmt.Errorf("put result: %w", err)
		}
	}
	number := before.number + 1
	switch {
	case there && before.publication == qc.PubReleased && target == qc.PubReleased:
		previous := before.number
		w.events = append(w.events, event{Kind: "corrected", Result: r.ID, Revision: number, Previous: &previous, Reason: "evaluated again"})
	case there && before.publication == qc.PubReleased:
		w.events = append(w.events, event{Kind: "withdrawn", Result: r.ID, Revision: before.number, Reason: "later evidence: " + w.why(r)})
		if err := w.publish(before.revision, qc.PubWithdrawn, "later evidence"); err != nil {
			return err
		}
	case target == qc.PubReleased:
		w.events = append(w.events, event{Kind: "released", Result: r.ID, Revision: number})
	}
	if there {
		if before.publication == qc.PubReleased {
			w.superseded = append(w.superseded, before.revision)
		}
		if before.publication != qc.PubSuperseded { // as one that vanished is already
			if err := w.publish(before.revision, qc.PubSuperseded, "a newer revision"); err != nil {
				return err
			}
		}
	}
	id, err := w.putRevision(r, digest, before.result, number, target, authoriser)
	if err != nil {
		return err
	}
	if r.Quantity == "strength" && target == qc.PubReleased {
		w.strengths = append(w.strengths, r.Sample)
	}
	w.content = append(w.content, []any{"result", r.ID, number, digest, target})
	return putPublications(w.ctx, w.tx, []int64{id}, string(target), authoriser)
}

func (w *writing) putRevision(r *qc.Result, digest string, result int64, number int, target qc.Publication, authoriser string) (int64, error) {
	notices, err := json.Marshal(append([]qc.NoticeGiven{}, r.Notices...))
	if err != nil {
		return 0, fmt.Errorf("encode notices: %w", err)
	}
	used := []int64{}
	for _, pin := range r.Uses {
		id, there := w.used[pin]
		if !there {
			return 0, fmt.Errorf("it uses %s at a revision that its input does not have", pin.Result)
		}
		used = append(used, id)
	}
	acquisition := rawHash(r.Acquisition.Revision)
	var id int64
	err = w.tx.QueryRow(w.ctx, queries.Text("put_result_revision.sql"), result, number, w.id, r.Acquisition.Instrument, r.Acquisition.Key, acquisition, rawHash(digest),
		r.Position, r.Value, r.Reported, r.Unit, r.Censored, r.LOD, r.LOQ, r.Uncertainty, append([]string{}, r.Qualifiers...), r.Quantity, r.Kind, r.CAS, notices,
		r.Disposition, string(target), authoriser, used, failing(r, w.evaluated.Evaluation.Checks)).Scan(&id)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, errors.Join(record.ErrStale, errNoRevision)
	}
	if err != nil {
		return 0, fmt.Errorf("put revision %d: %w", number, err)
	}
	return id, nil
}

// vanished retires results that the evaluation no longer has.
func (w *writing) vanished(heads map[string]head) error {
	for _, name := range sortedKeys(heads) {
		h := heads[name]
		switch h.publication {
		case qc.PubReleased:
			w.events = append(w.events, event{Kind: "withdrawn", Result: name, Revision: h.number, Reason: "the batch no longer has this result"})
			w.superseded = append(w.superseded, h.revision)
			if err := w.publish(h.revision, qc.PubWithdrawn, "the batch no longer has this result"); err != nil {
				return err
			}
		case qc.PubHeld, qc.PubCleared, qc.PubRejected:
			if err := w.publish(h.revision, qc.PubSuperseded, "the batch no longer has this result"); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *writing) publish(revision int64, state qc.Publication, reason string) error {
	if _, err := w.tx.Exec(w.ctx, queries.Text("set_publication.sql"), []int64{revision}, string(state)); err != nil {
		return fmt.Errorf("set publication to %s: %w", state, err)
	}
	return putPublications(w.ctx, w.tx, []int64{revision}, string(state), reason)
}

// why gives the first reason that holds a result.
func (w *writing) why(r *qc.Result) string {
	for _, id := range r.HeldBy {
		for _, c := range w.evaluated.Evaluation.Checks {
			if c.ID == id {
				return c.Reason
			}
		}
	}
	return "no longer covered"
}

func sortedKeys(heads map[string]head) []string {
	names := make([]string, 0, len(heads))
	for name := range heads {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
