package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/qc"
	"underbond/sql/queries"
)

// entry is the ledger entry that a transaction ends with. Content is what its digest
// is taken over. A nil entry: the transaction changes no evidence.
type entry struct {
	kind, subject, reason string
	content               any
	events                []event
}

// event is what happens to one result towards readers.
type event struct {
	Kind     string `json:"kind"`
	Result   string `json:"result"`
	Revision int    `json:"revision"`
	Previous *int   `json:"previous_revision,omitempty"`
	Reason   string `json:"reason"`
}

// attempts bounds how often a transaction is tried when others are in its way, or its
// outcome had to be looked up.
const attempts = 6

// write runs fn in a transaction that ends with the ledger entry fn returns, and
// commits. fn may run several times and must find out by itself, from natural keys,
// what an earlier run has already done. When the answer to COMMIT is lost, the ledger
// says whether it happened.
func (s *Store) write(ctx context.Context, what string, fn func(ctx context.Context, tx pgx.Tx) (*entry, error)) error {
	var last error
	for try := range attempts {
		if try > 0 {
			if err := pause(ctx, time.Duration(try)*50*time.Millisecond); err != nil {
				return errors.Join(last, err)
			}
		}
		done, again, err := s.writeOnce(ctx, what, fn)
		if done || !again {
			return err
		}
		last = err
	}
	return last
}

func (s *Store) writeOnce(ctx context.Context, what string, fn func(ctx context.Context, tx pgx.Tx) (*entry, error)) (done, again bool, err error) {
	txCtx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	tx, err := s.pool.Begin(txCtx)
	if err != nil {
		return false, false, fmt.Errorf("%s: begin: %w", what, err)
	}
	defer func() {
		undo, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		_ = tx.Rollback(undo) // after a commit this does nothing
	}()
	e, err := fn(txCtx, tx)
	if err != nil {
		return false, contended(err), fmt.Errorf("%s: %w", what, rejected(err))
	}
	var head record.LedgerHead
	if e != nil {
		if head, err = s.append(txCtx, tx, e); err != nil {
			return false, contended(err), fmt.Errorf("%s: append to the ledger: %w", what, err)
		}
	}
	err = tx.Commit(txCtx)
	if err == nil {
		return true, false, nil
	}
	var pgErr *pgconn.PgError
	if errors.As(err, &pgErr) && pgErr.Code[:2] != "08" && pgErr.Code[:2] != "57" {
		return false, contended(err), fmt.Errorf("%s: commit: %w", what, err) // the server said no: nothing happened
	}
	switch {
	case faultpoint.Off("commit-outcome"):
		return false, false, fmt.Errorf("%s: commit: %w", what, err)
	case e == nil: // there is no entry to look for, and no harm in doing it again
		s.log.Warn().Err(err).Str("what", what).Msg("answer to commit lost, done again")
		return false, true, fmt.Errorf("%s: commit: %w", what, err)
	}
	return s.lookUp(ctx, what, head, err)
}

// append writes the ledger entry: the last statement before COMMIT.
func (s *Store) append(ctx context.Context, tx pgx.Tx, e *entry) (record.LedgerHead, error) {
	digest, _, err := qc.Digest(e.content)
	if err != nil {
		return record.LedgerHead{}, fmt.Errorf("digest of what was written: %w", err)
	}
	hash, err := record.ParseHash(digest)
	if err != nil {
		return record.LedgerHead{}, err
	}
	events := e.events
	if events == nil {
		events = []event{}
	}
	list, err := json.Marshal(events)
	if err != nil {
		return record.LedgerHead{}, fmt.Errorf("encode events: %w", err)
	}
	var head record.LedgerHead
	var raw []byte
	if err := tx.QueryRow(ctx, queries.Text("append_ledger.sql"), s.actor, e.kind, e.subject, e.reason, hash[:], list).Scan(&head.Seq, &raw); err != nil {
		return head, err
	}
	copy(head.Hash[:], raw)
	return head, nil
}

// lookUp finds out whether a transaction whose COMMIT got no answer has happened.
func (s *Store) lookUp(ctx context.Context, what string, head record.LedgerHead, cause error) (done, again bool, err error) {
	for try := range attempts {
		if err := pause(ctx, time.Duration(try*try)*100*time.Millisecond); err != nil {
			return false, false, errors.Join(cause, err)
		}
		var there bool
		there, err = s.ledgerHas(ctx, head)
		if err != nil {
			continue
		}
		outcome := "absent"
		if there {
			outcome = "present"
		}
		s.log.Warn().Err(cause).Str("what", what).Int64("seq", head.Seq).Str("outcome", outcome).Msg("answer to commit lost, outcome looked up")
		if there {
			return true, false, nil
		}
		// Absent can still mean under way; the next run waits on the same row locks and then
		// sees what happened.
		return false, true, fmt.Errorf("%s: commit: %w", what, cause)
	}
	return false, false, fmt.Errorf("%s: commit without an answer, and its outcome could not be looked up: %w", what, errors.Join(cause, err))
}

func (s *Store) ledgerHas(ctx context.Context, head record.LedgerHead) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	var hash []byte
	err := s.pool.QueryRow(ctx, queries.Text("ledger_hash_at.sql"), head.Seq).Scan(&hash)
	if errors.Is(err, pgx.ErrNoRows) {
		return false, nil
	}
	return string(hash) == string(head.Hash[:]), err
}

// Head is the newest ledger entry.
func (s *Store) Head(ctx context.Context) (record.LedgerHead, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	var head record.LedgerHead
	var raw []byte
	if err := s.pool.QueryRow(ctx, queries.Text("ledger_head.sql")).Scan(&head.Seq, &raw); err != nil {
		return head, fmt.Errorf("read the ledger's head: %w", err)
	}
	copy(head.Hash[:], raw)
	return head, nil
}

// Fits tells whether an anchor taken earlier lies on this database's ledger.
func (s *Store) Fits(ctx context.Context, anchor record.LedgerHead) (bool, error) {
	return s.ledgerHas(ctx, anchor)
}

// pause waits, or ends with ctx.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
