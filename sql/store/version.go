package store

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"underbond/ingest/record"
	"underbond/sql/queries"
)

// outdated tells whether a newer version of a worklist, register or standards list is
// recorded already. An older version that arrives late is kept, and takes nothing over:
// which version holds must not depend on the order of arrival.
func outdated(ctx context.Context, tx pgx.Tx, d *record.Document) (bool, error) {
	if d.Worklist == nil && d.Register == nil && d.Standards == nil {
		return false, nil // methods go by their date, profiles are listed in order
	}
	rows, err := tx.Query(ctx, queries.Text("versions_of_document.sql"), d.Kind, d.Name)
	if err != nil {
		return false, fmt.Errorf("read the versions of %s %s: %w", d.Kind, d.Name, err)
	}
	versions, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return false, fmt.Errorf("read the versions of %s %s: %w", d.Kind, d.Name, err)
	}
	for _, v := range versions {
		if newer(v, d.Version) {
			return true, nil
		}
	}
	return false, nil
}

// newer compares versions such as "2" and "1.10" part by part as numbers. Versions with
// other text have no order; of those the last to arrive holds.
func newer(a, b string) bool {
	x, y := strings.Split(a, "."), strings.Split(b, ".")
	for i := range max(len(x), len(y)) {
		var p, q uint64
		var errA, errB error
		if i < len(x) {
			p, errA = strconv.ParseUint(x[i], 10, 64)
		}
		if i < len(y) {
			q, errB = strconv.ParseUint(y[i], 10, 64)
		}
		if errA != nil || errB != nil {
			return false
		}
		if p != q {
			return p > q
		}
	}
	return false
}
