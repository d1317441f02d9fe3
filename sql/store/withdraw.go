package store

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"underbond/sql/queries"
)

// withdrawal takes back what was released from acquisitions, from whole batches, and from
// what used the given result revisions; and in turn whatever was computed with that.
type withdrawal struct {
	acquisitions, batches, used []int64
	reason                      string
}

// write withdraws. The caller has marked the batches whose evidence changed, and lists
// them: an evaluation under way has then either been written, and is seen here, or finds
// itself stale. Other batches concerned are marked here.
func (w withdrawal) write(ctx context.Context, tx pgx.Tx, marked []int64) ([]event, error) {
	var events []event
	var concerned []int64
	for {
		revisions, err := w.once(ctx, tx, &events, &concerned)
		if err != nil {
			return nil, err
		}
		if len(revisions) == 0 {
			break
		}
		if err := putPublications(ctx, tx, revisions, "withdrawn", w.reason); err != nil {
			return nil, err
		}
		// An evaluation that used one of these may have been written while this statement
		// waited for it: look again, until nothing is left.
		w = withdrawal{used: revisions, reason: w.reason}
	}
	slices.SortFunc(events, func(a, b event) int { return strings.Compare(a.Result, b.Result) })
	slices.Sort(concerned)
	concerned = slices.DeleteFunc(slices.Compact(concerned), func(batch int64) bool { return slices.Contains(marked, batch) })
	return events, touch(ctx, tx, concerned)
}

func (w withdrawal) once(ctx context.Context, tx pgx.Tx, events *[]event, concerned *[]int64) (revisions []int64, err error) {
	rows, err := tx.Query(ctx, queries.Text("withdraw.sql"), orEmpty(w.acquisitions), orEmpty(w.batches), orEmpty(w.used))
	if err != nil {
		return nil, fmt.Errorf("withdraw: %w", err)
	}
	var id, batch int64
	var e event
	_, err = pgx.ForEachRow(rows, []any{&id, &e.Result, &e.Revision, &batch}, func() error {
		*events = append(*events, event{Kind: "withdrawn", Result: e.Result, Revision: e.Revision, Reason: w.reason})
		*concerned = append(*concerned, batch)
		revisions = append(revisions, id)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("withdraw: %w", err)
	}
	return revisions, nil
}

func putPublications(ctx context.Context, tx pgx.Tx, revisions []int64, state, reason string) error {
	if len(revisions) == 0 {
		return nil
	}
	states, reasons := make([]string, len(revisions)), make([]string, len(revisions))
	for i := range revisions {
		states[i], reasons[i] = state, reason
	}
	if _, err := tx.Exec(ctx, queries.Text("put_publication.sql"), revisions, states, reasons); err != nil {
		return fmt.Errorf("write publication history: %w", err)
	}
	return nil
}

func orEmpty(list []int64) []int64 {
	if list == nil {
		return []int64{}
	}
	return list
}
