package ingest

import (
	"context"
	"time"

	"underbond/ingest/record"
	"underbond/parsers"
)

// Store is the record that the pipeline writes to. Each method is one short
// transaction; none is open while a file is parsed or the archive is read. Every method
// may be called again after an error: what an earlier call has done is found by natural
// keys and not done twice.
type Store interface {
	LastJournal(ctx context.Context, daemon string) (int64, error)
	Register(ctx context.Context, arrivals []record.Arrival) error

	FreeLeases(ctx context.Context, daemon string) error
	Claim(ctx context.Context, daemon, archive string, lease time.Duration, suspects bool) (*record.Claim, error)
	HandBack(ctx context.Context, c *record.Claim) error
	Refuse(ctx context.Context, c *record.Claim, p parsers.Problem, warnings []parsers.Problem) error
	Park(ctx context.Context, c *record.Claim, kind, waitingFor string) error
	RecordDocument(ctx context.Context, c *record.Claim, d *record.Document) error
	RecordAcquisitions(ctx context.Context, c *record.Claim, list []record.Acquisition, warnings []parsers.Problem) error

	Documents(ctx context.Context, kind string) ([]record.StoredDocument, error)
	MethodsFor(ctx context.Context, instrument string) ([]record.StoredDocument, error)

	Due(ctx context.Context, limit int) ([]int64, error)
	Snapshot(ctx context.Context, batch int64) (*record.Snapshot, error)
	WriteReductions(ctx context.Context, archive string, revision int64, list []record.Reduction) error
	WriteEvaluation(ctx context.Context, snap *record.Snapshot, e record.Evaluated) error
	NoteBatch(ctx context.Context, batch, version int64, problem string) error
	CloseIdle(ctx context.Context, idle time.Duration) ([]string, error)

	Head(ctx context.Context) (record.LedgerHead, error)
	Fits(ctx context.Context, anchor record.LedgerHead) (bool, error)
}
