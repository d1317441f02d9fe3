package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/ingest/watch"
	"underbond/parsers"
	"underbond/parsers/compressed"
	"underbond/parsers/registry"
)

// take is custody: objects first, then the journal. When it returns, what it says was
// taken is on the disk.
func (p *Pipeline) take(ctx context.Context, batch []watch.Candidate) []watch.Outcome {
	outcomes := make([]watch.Outcome, len(batch))
	sources := make([]custody.Source, len(batch))
	for i, c := range batch {
		sources[i] = c.Source()
	}
	var arrivals []custody.Arrival
	var taken []int
	for i, put := range p.opt.Archive.PutMany(ctx, sources) {
		if put.Err != nil {
			outcomes[i].Err = put.Err
			continue
		}
		outcomes[i].Hash = put.Receipt.Hash
		if put.Receipt.Hash == batch[i].Previous {
			continue // touched, not changed
		}
		arrivals = append(arrivals, batch[i].Arrival(p.daemon, put.Receipt, p.now().UTC()))
		taken = append(taken, i)
	}
	if len(arrivals) == 0 {
		return outcomes
	}
	early := faultpoint.Off("journal-before-ack")
	if early {
		p.acknowledge(arrivals)
	}
	if err := p.opt.Journal.Append(ctx, arrivals); err != nil {
		for _, i := range taken {
			outcomes[i] = watch.Outcome{Err: err}
		}
		p.trouble("custody", err, 0)
		return outcomes
	}
	if !early {
		p.acknowledge(arrivals)
	}
	p.arrived.hint()
	return outcomes
}

// acknowledge says that the files cannot be lost any more.
func (p *Pipeline) acknowledge(arrivals []custody.Arrival) {
	for _, a := range arrivals {
		p.opt.Log.Info().Str("root", a.Root).Str("file", a.PathText).Stringer("sha256", a.SHA256).Int64("size", a.Size).
			Str("end_proof", a.EndProof).Str("incomplete", a.Incomplete).Msg("file taken into custody")
	}
}

// EndProof implements watch.EndProver: the format is found by content.
// Compressed content is complete when it can be decompressed to its end and what comes out is.
func (p *Pipeline) EndProof(ctx context.Context, rootName, path string, r io.ReaderAt, size int64) (watch.Proof, string, error) {
	root := p.root(rootName)
	if root.Holds == record.HoldsDocuments {
		return newlineProof(r, size)
	}
	content, err := compressed.Open(r, size, p.opt.Limits)
	var refusal *parsers.Refusal
	switch {
	case compressed.IsCut(err):
		return watch.ProofFailed, err.Error(), nil
	case errors.As(err, &refusal):
		return watch.ProofNone, "", nil // custody first, the reason later
	case err != nil:
		return watch.ProofNone, "", fmt.Errorf("open %s: %w", path, err)
	}
	all := registry.New(p.profiles.known())
	proof, why, err := content.EndProof(ctx, func(head []byte) parsers.Reader {
		if root.Format == "" || root.Format == "auto" {
			if matches, err := all.Detect(head); err == nil {
				return matches[0].Reader
			}
			return nil
		}
		reader, err := all.Reader(root.Format, root.Profile)
		if err != nil {
			return nil
		}
		return reader
	})
	if err != nil {
		return watch.ProofNone, "", fmt.Errorf("look for the end of %s: %w", path, err)
	}
	return watch.Proof(proof), why, nil
}

// newlineProof: a document ends with a line break.
func newlineProof(r io.ReaderAt, size int64) (watch.Proof, string, error) {
	if size == 0 {
		return watch.ProofFailed, "the file is empty", nil
	}
	var last [1]byte
	if _, err := r.ReadAt(last[:], size-1); err != nil && !errors.Is(err, io.EOF) {
		return watch.ProofNone, "", fmt.Errorf("read the last byte: %w", err)
	}
	if last[0] != '\n' {
		return watch.ProofFailed, "the last line does not end with a line break", nil
	}
	return watch.ProofHeld, "", nil
}

// report logs what the watcher will not let pass silently.
func (p *Pipeline) report(e watch.Event) {
	p.opt.Log.Warn().Str("root", e.Root).Str("file", custody.Printable(e.Path)).Str("event", strings.ReplaceAll(string(e.Kind), " ", "_")).
		Str("detail", e.Detail).Msg("watched folder: " + string(e.Kind))
}

// register brings journal entries into the database.
func (p *Pipeline) register(ctx context.Context) (more bool, err error) {
	last, err := p.opt.Store.LastJournal(ctx, p.daemon)
	if err != nil {
		return false, err
	}
	const most = 500
	var arrivals []record.Arrival
	for r, err := range p.opt.Journal.Records(uint64(last) + 1) {
		if err != nil {
			return false, fmt.Errorf("read the journal: %w", err)
		}
		if r.Arrival == nil {
			continue
		}
		arrivals = append(arrivals, p.arrival(r.Arrival))
		if len(arrivals) == most {
			break
		}
	}
	if len(arrivals) == 0 {
		p.well()
		return false, nil
	}
	if err := p.opt.Store.Register(ctx, arrivals); err != nil {
		return false, err
	}
	p.work.hint()
	return len(arrivals) == most, nil
}

func (p *Pipeline) arrival(a *custody.Arrival) record.Arrival {
	root := p.root(a.Root)
	return record.Arrival{Daemon: a.Daemon, Journal: int64(a.Number), Root: a.Root, Instrument: root.Watch.Instrument, Holds: root.Holds,
		Path: a.Path, PathText: a.PathText, SourceMtime: a.SourceMtime, Object: a.SHA256, Size: a.Size, Archive: p.opt.Archive.ID(),
		EndProof: a.EndProof, Incomplete: a.Incomplete, TakenAt: a.TakenAt}
}
