package ingest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/qc"
	"underbond/qc/method"
)

// maxReduction bounds a stored reduction.
const maxReduction = 1 << 30

// evaluateDue evaluates the batches that have changed.
func (p *Pipeline) evaluateDue(ctx context.Context) (more bool, err error) {
	const most = 16
	batches, err := p.opt.Store.Due(ctx, most)
	if err != nil {
		return false, err
	}
	var failed []error // one batch does not stop the others
	for _, batch := range batches {
		if err := p.evaluate(ctx, batch); err != nil && !errors.Is(err, record.ErrStale) {
			failed = append(failed, err)
		}
	}
	return len(batches) > 0, errors.Join(failed...)
}

// evaluate reads the batch as it is, computes outside of any transaction, and writes
// what changed. A batch that changed meanwhile is evaluated again.
func (p *Pipeline) evaluate(ctx context.Context, batch int64) error {
	snap, err := p.opt.Store.Snapshot(ctx, batch)
	if err != nil {
		return err
	}
	if err := p.fillReductions(ctx, snap); damaged(err) {
		return p.note(ctx, snap, err)
	} else if err != nil {
		return fmt.Errorf("evaluate %s: %w", snap.Input.Batch.Name, err)
	}
	in := snap.Input.Ordered()
	canonical, err := qc.Canonical(in)
	if err != nil {
		return p.note(ctx, snap, err)
	}
	receipt, err := p.opt.Archive.PutBytes(ctx, canonical)
	if err != nil {
		return fmt.Errorf("keep the input of %s: %w", snap.Input.Batch.Name, err)
	}
	evaluation, err := qc.Evaluate(in)
	var bad *qc.InputError
	if errors.As(err, &bad) {
		return p.note(ctx, snap, err)
	}
	if err != nil {
		return fmt.Errorf("evaluate %s: %w", snap.Input.Batch.Name, err)
	}
	digest, _, err := qc.Digest(evaluation)
	if err != nil {
		return p.note(ctx, snap, err)
	}
	output, err := custody.ParseHash(digest)
	if err != nil {
		return fmt.Errorf("digest of the evaluation: %w", err)
	}
	faultpoint.Reach("evaluated", snap.Input.Batch.Name)
	err = p.opt.Store.WriteEvaluation(ctx, snap, record.Evaluated{Evaluation: evaluation, Input: receipt.Hash, InputSize: receipt.Size,
		Output: output, Archive: p.opt.Archive.ID(), Architecture: p.opt.Architecture})
	if err != nil {
		return err
	}
	clear := 0
	for _, r := range evaluation.Results {
		if r.Disposition == qc.Clear {
			clear++
		}
	}
	p.opt.Log.Info().Str("batch", snap.Input.Batch.Name).Stringer("input", receipt.Hash).Bool("closed", evaluation.Closed).
		Int("results", len(evaluation.Results)).Int("clear", clear).Int("checks", len(evaluation.Checks)).Msg("batch evaluated")
	return nil
}

// note keeps why a batch cannot be evaluated where people see it.
func (p *Pipeline) note(ctx context.Context, snap *record.Snapshot, cause error) error {
	p.opt.Log.Error().Err(cause).Str("batch", snap.Input.Batch.Name).Msg("batch cannot be evaluated")
	return p.opt.Store.NoteBatch(ctx, snap.Batch, snap.Version, cause.Error())
}

// fillReductions fetches the members' reductions from the archive, and makes those that
// are not there.
func (p *Pipeline) fillReductions(ctx context.Context, snap *record.Snapshot) error {
	made := map[custody.Hash]map[int]custody.Hash{} // by object and record
	for i, source := range snap.Sources {
		if source == nil {
			continue
		}
		hash := source.Reduction
		if hash == nil {
			if made[source.Arrival.Object] == nil {
				records, err := p.makeReductions(ctx, snap, source)
				if err != nil {
					return err
				}
				made[source.Arrival.Object] = records
			}
			h, there := made[source.Arrival.Object][source.Record]
			if !there {
				return fmt.Errorf("record %d of %s is no longer found in its file", source.Record, source.Arrival.PathText)
			}
			hash = &h
		}
		body, err := p.opt.Archive.ReadBytes(ctx, *hash, maxReduction)
		if err != nil {
			return fmt.Errorf("read the reduction of %s: %w", source.Arrival.PathText, err)
		}
		var reduction qc.Reduction
		if err := json.Unmarshal(body, &reduction); err != nil {
			return fmt.Errorf("read the reduction of %s: %w", source.Arrival.PathText, err)
		}
		snap.Input.Members[i].Reduction = &reduction
	}
	return nil
}

// makeReductions reads a file again for the batch's method and keeps the reductions of
// all members of the batch that come from it.
func (p *Pipeline) makeReductions(ctx context.Context, snap *record.Snapshot, source *record.Source) (map[int]custody.Hash, error) {
	report, err := p.readExport(ctx, source.Arrival, 0, []*method.Method{&snap.Input.Method})
	if err != nil {
		return nil, err
	}
	if report.Refusal != nil || report.Wait != "" {
		return nil, fmt.Errorf("%s was recorded and can no longer be read: %v %s", source.Arrival.PathText, report.Refusal, report.Wait)
	}
	kept := map[int]custody.Hash{}
	for _, a := range report.Acquisitions {
		list, err := p.keepReductions(ctx, a.Reductions)
		if err != nil {
			return nil, err
		}
		for _, s := range snap.Sources {
			if s == nil || s.Arrival.Object != source.Arrival.Object || s.Record != a.Record {
				continue
			}
			if err := p.opt.Store.WriteReductions(ctx, p.opt.Archive.ID(), s.Revision, list); err != nil {
				return nil, err
			}
		}
		if len(list) > 0 {
			kept[a.Record] = list[0].Object
		}
	}
	return kept, nil
}
