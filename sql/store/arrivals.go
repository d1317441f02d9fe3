package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/parsers"
	"underbond/sql/queries"
)

// LastJournal is the number of the newest journal entry of daemon that is registered.
func (s *Store) LastJournal(ctx context.Context, daemon string) (int64, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	var n int64
	if err := s.pool.QueryRow(ctx, queries.Text("last_journal.sql"), daemon).Scan(&n); err != nil {
		return 0, fmt.Errorf("read the last registered journal number: %w", err)
	}
	return n, nil
}

// Register records arrivals of one daemon and archive. Those registered before are left as they are.
func (s *Store) Register(ctx context.Context, arrivals []record.Arrival) error {
	if len(arrivals) == 0 {
		return nil
	}
	return s.write(ctx, "register arrivals", func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		var c columns
		for _, a := range arrivals {
			c.add(a)
		}
		if _, err := tx.Exec(ctx, queries.Text("put_objects.sql"), c.object, c.size, arrivals[0].Archive); err != nil {
			return nil, fmt.Errorf("put objects: %w", err)
		}
		rows, err := tx.Query(ctx, queries.Text("put_arrivals.sql"), arrivals[0].Daemon, c.journal, c.root, c.instrument, c.holds, c.path, c.pathText,
			c.mtime, c.object, c.size, c.endProof, c.incomplete, c.takenAt)
		if err != nil {
			return nil, fmt.Errorf("put arrivals: %w", err)
		}
		fresh, err := pgx.CollectRows(rows, pgx.RowTo[int64])
		if err != nil {
			return nil, fmt.Errorf("put arrivals: %w", err)
		}
		if len(fresh) == 0 {
			return nil, nil
		}
		content := make([]any, 0, len(fresh))
		isFresh := map[int64]bool{}
		for _, n := range fresh {
			isFresh[n] = true
		}
		for _, a := range arrivals {
			if isFresh[a.Journal] {
				content = append(content, []any{a.Daemon, a.Journal, a.Root, a.PathText, a.Object.String(), a.Size})
			}
		}
		return &entry{kind: "arrived", subject: fmt.Sprintf("%d files", len(fresh)), content: content}, nil
	})
}

// columns are arrivals turned on their side, for unnest.
type columns struct {
	journal, size                                           []int64
	root, instrument, holds, pathText, endProof, incomplete []string
	path, object                                            [][]byte
	mtime, takenAt                                          []time.Time
}

func (c *columns) add(a record.Arrival) {
	c.journal = append(c.journal, a.Journal)
	c.size = append(c.size, a.Size)
	c.root = append(c.root, a.Root)
	c.instrument = append(c.instrument, a.Instrument)
	c.holds = append(c.holds, a.Holds)
	c.pathText = append(c.pathText, a.PathText)
	c.endProof = append(c.endProof, a.EndProof)
	c.incomplete = append(c.incomplete, a.Incomplete)
	c.path = append(c.path, a.Path)
	c.object = append(c.object, a.Object[:])
	c.mtime = append(c.mtime, a.SourceMtime)
	c.takenAt = append(c.takenAt, a.TakenAt)
}

// Claim leases the oldest file in custody that archive holds, and counts the attempt
// before it begins. It returns nil when there is none. One process works for a daemon, so
// a claim of the daemon that was not given out here, or was handed back in vain, is free.
//
// suspects asks for the files whose reading was begun before and never ended, and leaves
// out all others; without it these are left out.
func (s *Store) Claim(ctx context.Context, daemon, archive string, lease time.Duration, suspects bool) (*record.Claim, error) {
	s.claims.Lock()
	defer s.claims.Unlock()
	working := slices.Sorted(maps.Keys(s.working))
	var claim *record.Claim
	err := s.write(ctx, "claim a file", func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		var c record.Claim
		var object []byte
		err := tx.QueryRow(ctx, queries.Text("claim_arrival.sql"), daemon, archive, lease, orEmpty(working), suspects).Scan(&c.ID, &c.Fence, &c.Attempts, &c.Daemon, &c.Journal, &c.Root,
			&c.Instrument, &c.Holds, &c.Path, &c.PathText, &c.SourceMtime, &object, &c.Size, &c.EndProof, &c.Incomplete, &c.TakenAt, &c.Documents)
		if errors.Is(err, pgx.ErrNoRows) {
			claim = nil
			return nil, nil
		}
		copy(c.Object[:], object)
		c.Archive = archive
		claim = &c
		return nil, err
	})
	if err != nil || claim == nil {
		return nil, err
	}
	s.working[claim.ID] = claim.Fence
	return claim, nil
}

// ended forgets a claim on which nobody works any more; err is how the last write to it went.
func (s *Store) ended(c *record.Claim, err error) {
	if err != nil && !errors.Is(err, record.ErrFenced) {
		return // it will be ended otherwise, or handed back
	}
	s.claims.Lock()
	defer s.claims.Unlock()
	if s.working[c.ID] == c.Fence { // not taken over by another worker
		delete(s.working, c.ID)
	}
}

// FreeLeases gives up the claims that an earlier life of this daemon left behind.
func (s *Store) FreeLeases(ctx context.Context, daemon string) error {
	return s.write(ctx, "free the claims of an earlier life", func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		_, err := tx.Exec(ctx, queries.Text("free_leases.sql"), daemon)
		return nil, err
	})
}

// HandBack returns a claimed file without spending its attempt: the fault was not the file's.
func (s *Store) HandBack(ctx context.Context, c *record.Claim) error {
	defer s.ended(c, nil) // should it go wrong, the next Claim takes it up
	return s.write(ctx, "hand back "+c.PathText, func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		_, err := tx.Exec(ctx, queries.Text("hand_back.sql"), c.ID, c.Fence)
		return nil, err
	})
}

// Refuse ends a file as refused, with the reason and its place.
func (s *Store) Refuse(ctx context.Context, c *record.Claim, p parsers.Problem, warnings []parsers.Problem) error {
	return s.finish(ctx, c, "refused", finish{state: "refused", code: p.Code, where: p.Where.String(), text: p.Message, problems: warnings})
}

// Park lets a file wait, and says for what. When a profile has been recorded since the
// file was claimed, it may be the one: then the file is handed back instead.
func (s *Store) Park(ctx context.Context, c *record.Claim, kind, waitingFor string) error {
	return s.finish(ctx, c, "waiting", finish{state: "waiting", waitingKind: kind, waitingFor: waitingFor})
}

func (s *Store) finish(ctx context.Context, c *record.Claim, kind string, f finish) (err error) {
	defer func() { s.ended(c, err) }()
	return s.write(ctx, kind+" "+c.PathText, func(ctx context.Context, tx pgx.Tx) (*entry, error) {
		done, err := lockClaim(ctx, tx, c)
		if err != nil || done {
			return nil, err
		}
		if f.waitingKind == record.WaitProfile {
			if came, err := profileCame(ctx, tx, c); err != nil || came {
				return nil, err
			}
		}
		if err := f.write(ctx, tx, c); err != nil {
			return nil, err
		}
		return &entry{kind: kind, subject: c.Root + "/" + c.PathText, reason: f.code + f.waitingFor,
			content: []any{c.Object.String(), f.state, f.waitingKind, f.waitingFor, f.code, f.where, f.text}}, nil
	})
}

// profileCame hands the file back if a profile was recorded since it was claimed.
func profileCame(ctx context.Context, tx pgx.Tx, c *record.Claim) (came bool, err error) {
	if err := lockDocuments(ctx, tx, "share_documents.sql"); err != nil {
		return false, err
	}
	if err := tx.QueryRow(ctx, queries.Text("profile_since.sql"), c.Documents).Scan(&came); err != nil || !came {
		return false, err
	}
	_, err = tx.Exec(ctx, queries.Text("hand_back.sql"), c.ID, c.Fence)
	return true, err
}

// finish is the state that a file ends in.
type finish struct {
	state, waitingKind, waitingFor string
	code, where, text              string
	problems                       []parsers.Problem
	duplicateOf                    *int64
}

func (f finish) write(ctx context.Context, tx pgx.Tx, c *record.Claim) error {
	if f.problems == nil {
		f.problems = []parsers.Problem{}
	}
	problems, err := json.Marshal(f.problems)
	if err != nil {
		return fmt.Errorf("encode problems: %w", err)
	}
	_, err = tx.Exec(ctx, queries.Text("finish_arrival.sql"), c.ID, f.state, f.waitingKind, f.waitingFor, f.code, f.where, f.text, problems, f.duplicateOf)
	if err != nil {
		return fmt.Errorf("set the state of %s: %w", c.PathText, err)
	}
	return nil
}

// lockClaim locks the arrival and checks that the claim still holds. done: this very
// claim has been finished already, by a transaction whose answer was lost.
func lockClaim(ctx context.Context, tx pgx.Tx, c *record.Claim) (done bool, err error) {
	var state string
	var fence int64
	if err := tx.QueryRow(ctx, queries.Text("lock_claim.sql"), c.ID).Scan(&state, &fence); err != nil {
		return false, fmt.Errorf("lock %s: %w", c.PathText, err)
	}
	switch {
	case fence != c.Fence && !faultpoint.Off("claim-fence"):
		return false, record.ErrFenced
	case state != "parsing":
		return true, nil
	}
	return false, nil
}
