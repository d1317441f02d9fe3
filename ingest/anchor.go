package ingest

import (
	"context"
	"fmt"
	"time"

	"underbond/ingest/custody"
	"underbond/ingest/record"
)

// admit waits for the database, takes back the claims of an earlier life, and compares the newest anchor of the ledger with it. A
// ledger that does not have the anchor was cut or is another one: then nothing is
// evaluated or published until a person decides.
func (p *Pipeline) admit(ctx context.Context) error {
	var anchor *custody.Anchor
	for r, err := range p.opt.Journal.Records(1) {
		if err != nil {
			return fmt.Errorf("read the journal: %w", err)
		}
		if r.Anchor != nil {
			anchor = r.Anchor
		}
	}
	if err := p.insist(ctx, "free claims", func() error { return p.opt.Store.FreeLeases(ctx, p.daemon) }); err != nil || anchor == nil {
		return err
	}
	hash, err := custody.ParseHash(anchor.Hash)
	if err != nil {
		return fmt.Errorf("read the ledger's anchor in the journal: %w", err)
	}
	return p.insist(ctx, "anchor", func() error {
		fits, err := p.opt.Store.Fits(ctx, record.LedgerHead{Seq: anchor.Seq, Hash: hash})
		if err != nil || fits {
			return err
		}
		halted := fmt.Sprintf("the ledger does not have entry %d as it was anchored on %s: history was cut, or this is another database; nothing is evaluated or released until a person has decided",
			anchor.Seq, anchor.At.Format(time.RFC3339))
		p.opt.Log.Error().Int64("seq", anchor.Seq).Str("hash", anchor.Hash).Msg(halted)
		p.mu.Lock()
		defer p.mu.Unlock()
		p.state.Halted = halted
		return nil
	})
}

// insist tries until it goes well or ctx ends.
func (p *Pipeline) insist(ctx context.Context, name string, try func() error) error {
	wait := p.opt.Poll
	for {
		err := try()
		if err == nil || ctx.Err() != nil {
			return ctx.Err()
		}
		p.trouble(name, err, wait)
		if err := sleep(ctx, wait); err != nil {
			return err
		}
		wait = min(2*wait, time.Minute)
	}
}

// keepHouse closes idle batches and anchors the ledger now and then.
func (p *Pipeline) keepHouse(ctx context.Context) error {
	anchored := p.now()
	for {
		if err := sleep(ctx, min(p.opt.AnchorEvery, max(p.opt.CloseIdle/4, p.opt.Poll))); err != nil {
			return err
		}
		names, err := p.opt.Store.CloseIdle(ctx, p.opt.CloseIdle)
		switch {
		case err != nil:
			p.trouble("close idle batches", err, 0)
		case len(names) > 0:
			p.opt.Log.Info().Strs("batches", names).Msg("idle batches closed")
			p.due.hint()
		}
		if p.now().Sub(anchored) >= p.opt.AnchorEvery {
			anchored = p.now()
			if err := p.anchor(ctx); err != nil {
				p.trouble("anchor", err, 0)
			}
		}
	}
}

// anchor keeps the ledger's head outside of the database.
func (p *Pipeline) anchor(ctx context.Context) error {
	head, err := p.opt.Store.Head(ctx)
	if err != nil {
		return err
	}
	if _, err := p.opt.Journal.AppendAnchor(ctx, custody.Anchor{Seq: head.Seq, Hash: head.Hash.String(), At: p.now().UTC()}); err != nil {
		return fmt.Errorf("anchor the ledger: %w", err)
	}
	p.opt.Log.Info().Int64("seq", head.Seq).Stringer("hash", head.Hash).Msg("ledger anchored")
	return nil
}

// lastAnchor is taken at the stop; a database that is away does not delay it for long.
func (p *Pipeline) lastAnchor() {
	if p.State().Halted != "" {
		return // an anchor of the wrong ledger would hide that it is wrong
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := p.anchor(ctx); err != nil {
		p.opt.Log.Warn().Err(err).Msg("no anchor at the stop")
	}
}
