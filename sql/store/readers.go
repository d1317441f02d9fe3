package store

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/jackc/pgx/v5"

	"underbond/qc"
	"underbond/sql/queries"
)

// Progress counts files by state, batches whose evaluation is due, and results by
// publication.
type Progress struct {
	Open, Recorded, Waiting, Refused int // files
	Due                              int // batches
	Released, Held                   int // results
}

// ReleasedResult is a value that readers have now.
type ReleasedResult struct {
	Result     string           `json:"result"`
	Revision   int              `json:"revision"`
	Sample     string           `json:"sample"`
	Batch      string           `json:"batch"`
	Analyte    string           `json:"analyte"`
	Basis      string           `json:"basis"`
	Value      *float64         `json:"value"` // in Unit; nil when censored
	Reported   string           `json:"reported"`
	Unit       string           `json:"unit"`
	Censored   string           `json:"censored"`
	Notices    []qc.NoticeGiven `json:"notices"`
	Authoriser string           `json:"authoriser"`
}

// HeldResult is a result under bond with one check that holds it.
type HeldResult struct {
	Batch   string `json:"batch"`
	Sample  string `json:"sample"`
	Analyte string `json:"analyte"`
	Basis   string `json:"basis"`
	Rule    string `json:"rule"`
	Verdict string `json:"verdict"`
	Reason  string `json:"reason"`
}

// File is a file with what is to be said of it.
type File struct {
	Root  string `json:"root"`
	Path  string `json:"path"`
	Code  string `json:"code,omitempty"`
	Where string `json:"where,omitempty"`
	Text  string `json:"text"`
}

// FeedEvent is one line of the feed.
type FeedEvent struct {
	Seq      int64    `json:"seq"`
	Ordinal  int      `json:"ordinal"`
	Cursor   string   `json:"cursor"`
	Kind     string   `json:"event"`
	Result   string   `json:"result"`
	Revision int      `json:"revision"`
	Previous *int     `json:"previous_revision"`
	Sample   string   `json:"sample"`
	Batch    string   `json:"batch"`
	Analyte  string   `json:"analyte"`
	Basis    string   `json:"basis"`
	Value    *float64 `json:"value"` // of a withdrawal: nil
	Reason   string   `json:"reason"`
}

// Progress reads how far everything is.
func (s *Store) Progress(ctx context.Context) (Progress, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	var p Progress
	err := s.pool.QueryRow(ctx, queries.Text("progress.sql")).Scan(&p.Open, &p.Recorded, &p.Waiting, &p.Refused, &p.Due, &p.Released, &p.Held)
	if err != nil {
		return p, fmt.Errorf("read progress: %w", err)
	}
	return p, nil
}

// CountReleased tells how many of the named results are released now. The three slices
// have the same length.
func (s *Store) CountReleased(ctx context.Context, samples, analytes, bases []string) (int, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	var n int
	if err := s.pool.QueryRow(ctx, queries.Text("count_released.sql"), samples, analytes, bases).Scan(&n); err != nil {
		return 0, fmt.Errorf("count released results: %w", err)
	}
	return n, nil
}

// Released lists every value that is released now.
func (s *Store) Released(ctx context.Context) ([]ReleasedResult, error) {
	return list(ctx, s, "released_results.sql", func(row pgx.CollectableRow) (ReleasedResult, error) {
		var r ReleasedResult
		var notices []byte
		if err := row.Scan(&r.Result, &r.Revision, &r.Sample, &r.Batch, &r.Analyte, &r.Basis, &r.Value, &r.Reported, &r.Unit, &r.Censored, &notices, &r.Authoriser); err != nil {
			return r, err
		}
		return r, json.Unmarshal(notices, &r.Notices)
	})
}

// Held lists the results under bond, a line for each check that holds one.
func (s *Store) Held(ctx context.Context) ([]HeldResult, error) {
	return list(ctx, s, "held_results.sql", pgx.RowToStructByPos[HeldResult])
}

// RefusedFiles lists the files that were refused, with code, place and reason.
func (s *Store) RefusedFiles(ctx context.Context) ([]File, error) {
	return list(ctx, s, "refused_files.sql", pgx.RowToStructByPos[File])
}

// WaitingFiles lists the files that wait, with what for as Text.
func (s *Store) WaitingFiles(ctx context.Context) ([]File, error) {
	return list(ctx, s, "waiting_files.sql", func(row pgx.CollectableRow) (File, error) {
		var f File
		err := row.Scan(&f.Root, &f.Path, &f.Text)
		return f, err
	})
}

// Feed lists all events towards readers, in ledger order.
func (s *Store) Feed(ctx context.Context) ([]FeedEvent, error) {
	return list(ctx, s, "feed_events.sql", pgx.RowToStructByPos[FeedEvent])
}

func list[T any](ctx context.Context, s *Store, query string, scan pgx.RowToFunc[T]) ([]T, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	rows, err := s.pool.Query(ctx, queries.Text(query))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", query, err)
	}
	all, err := pgx.CollectRows(rows, scan)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", query, err)
	}
	return all, nil
}
