package watch

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
)

// largeFile is from how many bytes on a file is handed over alone and after the
// others, which need not wait for it.
const largeFile = 64 << 20

// handOver checks the files that have been quiet for long enough and hands over
// what is ready. Only the end of the context is an error.
func (r *root) handOver(ctx context.Context) error {
	var batch, large []Candidate
	quiet := r.opts.Quiet
	if faultpoint.Off("quiet-period") {
		quiet = 0
	}
	for _, rel := range r.byAge(func(f *file) bool { return f.present && !f.taken && f.unchanged() >= quiet }) {
		if err := ctx.Err(); err != nil {
			return err
		}
		c, ready := r.candidate(ctx, rel)
		if !ready {
			continue
		}
		if c.Identity.Size >= largeFile {
			large = append(large, c)
			continue
		}
		if batch = append(batch, c); len(batch) == r.opts.Batch {
			if stop, err := r.take(ctx, batch); stop || err != nil {
				return err
			}
			batch = nil
		}
	}
	if len(batch) > 0 {
		if stop, err := r.take(ctx, batch); stop || err != nil {
			return err
		}
	}
	for _, c := range large {
		if stop, err := r.take(ctx, []Candidate{c}); stop || err != nil {
			return err
		}
	}
	return nil
}

// candidate says whether a quiet file is ready, and if not, keeps why.
func (r *root) candidate(ctx context.Context, rel string) (c Candidate, ready bool) {
	f := r.files[rel]
	now := r.opts.Now()
	if f.checked.IsZero() || now.Sub(f.checked) >= r.opts.Quiet {
		v, err := r.check(ctx, rel, f.id)
		if err != nil {
			f.block("to be readable", err)
			return Candidate{}, false
		}
		f.checked, f.verdict = now, v
	}
	c = Candidate{Root: r.Name, Instrument: r.Instrument, RootPath: r.Path, Path: []byte(rel), Identity: f.id, EndProof: f.verdict.proof, Previous: f.hash}
	f.blocked = false
	if f.verdict.why != "" {
		f.waiting = "to become complete: " + f.verdict.why
		if f.unchanged() < r.opts.IncompleteAfter {
			return Candidate{}, false
		}
		c.Incomplete = fmt.Sprintf("%s; unchanged for %s or more", f.verdict.why, r.opts.IncompleteAfter)
	}
	return c, true
}

// take hands a batch over and keeps what became of it. stop says that nothing of
// it was taken, so that the rest had better wait for the next scan.
func (r *root) take(ctx context.Context, batch []Candidate) (stop bool, err error) {
	outcomes := r.opts.Take(ctx, batch)
	now := r.opts.Now()
	stop = true
	for i, c := range batch {
		f := r.files[string(c.Path)]
		var o Outcome
		if i < len(outcomes) {
			o = outcomes[i]
		} else {
			o.Err = errors.New("no answer was given for the file")
		}
		switch {
		case o.Err == nil:
			stop = false
			f.taken, f.hash = true, o.Hash
			f.waiting, f.blocked = "", false
			f.rehashAt = now.Add(r.opts.RehashEvery)
		case errors.Is(o.Err, custody.ErrChanged), errors.Is(o.Err, fs.ErrNotExist):
			stop = false
			f.settle(f.id, now)
			f.block("for custody", o.Err)
		default:
			f.block("for custody", o.Err)
		}
	}
	r.publish()
	return stop, ctx.Err()
}

// rehash reads taken files again, the longest due first and no more than one
// scan may, to find bytes that changed under the same size and times.
func (r *root) rehash(ctx context.Context) error {
	now := r.opts.Now()
	budget := r.opts.RehashBytes
	for _, rel := range r.byRehash(now) {
		if budget <= 0 {
			break
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		f := r.files[rel]
		hash, _, err := custody.Digest(ctx, custody.Source{Root: r.Path, Path: filepath.FromSlash(rel), Want: f.id})
		if err == nil {
			budget -= max(f.id.Size, 1)
		}
		switch {
		case err != nil: // a change shows at the next scan; else it stays due
			f.block("to be read again", err)
		case hash == f.hash:
			f.waiting, f.blocked = "", false
			f.rehashAt = now.Add(r.opts.RehashEvery)
		default:
			r.report(EventSilentChange, rel, fmt.Sprintf("was %s, is %s", f.hash, hash))
			f.settle(f.id, now)
		}
	}
	return nil
}
