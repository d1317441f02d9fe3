package ingest

import (
	"context"
	"errors"
	"fmt"
	"path"
	"time"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
	"underbond/ingest/record"
	"underbond/ingest/worker"
	"underbond/parsers"
	"underbond/qc"
	"underbond/qc/method"
)

// maxDocument bounds a document; methods and worklists are far smaller.
const maxDocument = 32 << 20

// readNext brings one file to its end state. A file whose reading was begun before and
// never ended may have taken the process down: it is read alone, so that it does not
// take the attempts of files beside it with it.
func (p *Pipeline) readNext(ctx context.Context) (more bool, err error) {
	p.alone.RLock()
	more, err = p.readOne(ctx, false)
	p.alone.RUnlock()
	if more || err != nil || !p.alone.TryLock() {
		return more, err
	}
	defer p.alone.Unlock()
	return p.readOne(ctx, true)
}

// readOne claims one file and brings it to its end state: recorded, waiting or refused.
func (p *Pipeline) readOne(ctx context.Context, suspects bool) (more bool, err error) {
	claim, err := p.opt.Store.Claim(ctx, p.daemon, p.opt.Archive.ID(), lease, suspects)
	if err != nil || claim == nil {
		return false, err
	}
	err = p.read(ctx, claim)
	var rejected *record.RejectedError
	if errors.As(err, &rejected) {
		err = p.refuse(ctx, claim, parsers.Refuse("not-recordable", parsers.Place{}, "the database does not take what was read (SQLSTATE %s): %s", rejected.Code, rejected).Problem, nil)
	}
	if damaged(err) {
		p.trouble("read the archive", err, 0)
		err = p.refuse(ctx, claim, parsers.Refuse("custody-damaged", parsers.Place{}, "%s; restore the object from a backup of the archive and export the file again", err).Problem, nil)
	}
	switch {
	case err == nil:
		p.work.hint() // another worker may look too
		p.due.hint()
		return true, nil
	case errors.Is(err, record.ErrFenced):
		p.opt.Log.Warn().Str("file", claim.PathText).Msg("file was taken over by another worker")
		return true, nil
	}
	// Not the file's fault: give it back without counting the attempt.
	detached, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if back := p.opt.Store.HandBack(detached, claim); back != nil {
		err = errors.Join(err, back)
	}
	return false, fmt.Errorf("read %s: %w", claim.PathText, err)
}

func (p *Pipeline) read(ctx context.Context, c *record.Claim) error {
	if c.Attempts > maxAttempts && !faultpoint.Off("attempt-count") {
		return p.refuse(ctx, c, parsers.Refuse("attempts-exhausted", parsers.Place{}, "reading the file was begun %d times and never ended; it may crash or stall the reader", c.Attempts-1).Problem, nil)
	}
	if c.Incomplete != "" {
		return p.refuse(ctx, c, parsers.Refuse("incomplete", parsers.Place{Offset: c.Size}, "%s; export the file again", c.Incomplete).Problem, nil)
	}
	if c.Holds == record.HoldsDocuments {
		return p.readDocument(ctx, c)
	}
	if c.Instrument == "" {
		return p.refuse(ctx, c, parsers.Refuse("unknown-source", parsers.Place{}, "folder %s is not configured for an instrument", c.Root).Problem, nil)
	}
	report, err := p.readExport(ctx, c.Arrival, c.Documents, nil)
	faultpoint.Reach("decided", path.Base(c.PathText))
	switch {
	case err != nil:
		return err
	case report.Refusal != nil:
		return p.refuse(ctx, c, *report.Refusal, report.Warnings)
	case report.Wait != "":
		p.event(c).Str("waiting_for", report.Wait).Msg("file waits")
		return p.opt.Store.Park(ctx, c, record.WaitProfile, report.Wait)
	}
	list, err := p.keep(ctx, c.Arrival, report.Acquisitions)
	if err != nil {
		return err
	}
	if err := p.opt.Store.RecordAcquisitions(ctx, c, list, report.Warnings); err != nil {
		return err
	}
	line := p.event(c).Strs("batch", c.Batches).Int("acquisitions", len(list)).Int("warnings", len(report.Warnings))
	if c.WaitingFor != "" {
		line.Str("waiting_for", c.WaitingFor).Msg("file waits")
		return nil
	}
	line.Msg("file recorded")
	return nil
}

func (p *Pipeline) readDocument(ctx context.Context, c *record.Claim) error {
	data, err := p.opt.Archive.ReadBytes(ctx, c.Object, maxDocument)
	if err != nil {
		return fmt.Errorf("read the document from the archive: %w", err)
	}
	d, refusal := worker.ReadDocument(c.PathText, c.Object, data)
	if refusal != nil {
		return p.refuse(ctx, c, *refusal, nil)
	}
	err = p.opt.Store.RecordDocument(ctx, c, d)
	var conflict *record.DocumentConflict
	if errors.As(err, &conflict) {
		return p.refuse(ctx, c, parsers.Refuse(conflict.Code, parsers.Place{}, "%s", conflict.Message).Problem, nil)
	}
	if err != nil {
		return err
	}
	p.profiles.forget()
	p.event(c).Str("document", d.Kind).Str("name", d.Name).Str("version", d.Version).Msg("document recorded")
	return nil
}

// readExport parses an export from the archive, and reduces its acquisitions for the
// given methods, or for those that may apply on the instrument when methods is nil. The
// profiles go at least up to the document newest.
func (p *Pipeline) readExport(ctx context.Context, a record.Arrival, newest int64, methods []*method.Method) (worker.Report, error) {
	root := p.root(a.Root)
	profiles, err := p.profiles.load(ctx, newest)
	if err != nil {
		return worker.Report{}, err
	}
	if methods == nil {
		if methods, err = p.methodsFor(ctx, a.Instrument, root.Method); err != nil {
			return worker.Report{}, err
		}
	}
	// What is computed from must be what was taken: the bytes are compared with their name.
	if _, err := p.opt.Archive.Verify(ctx, a.Object); err != nil {
		return worker.Report{}, fmt.Errorf("verify %s in the archive: %w", a.Object, err)
	}
	src, err := p.opt.Archive.Open(a.Object)
	if err != nil {
		return worker.Report{}, fmt.Errorf("open %s in the archive: %w", a.Object, err)
	}
	defer src.Close()
	return worker.Read(ctx, worker.Job{Object: p.opt.Archive.Path(a.Object), Hash: a.Object, File: a.PathText, Root: a.Root, Instrument: a.Instrument,
		Format: root.Format, Profile: root.Profile, Encoding: root.Encoding, Profiles: profiles, Methods: methods, Zone: root.Zone, Limits: p.opt.Limits}, src, a.Size)
}

// keep puts reductions into the archive and makes the acquisitions ready to be recorded.
func (p *Pipeline) keep(ctx context.Context, a record.Arrival, read []worker.Acquisition) ([]record.Acquisition, error) {
	list := make([]record.Acquisition, 0, len(read))
	for _, r := range read {
		reductions, err := p.keepReductions(ctx, r.Reductions)
		if err != nil {
			return nil, err
		}
		list = append(list, record.Acquisition{Instrument: a.Instrument, Key: r.Key, Record: r.Record, Digest: r.Digest, Header: r.Header,
			File: path.Base(a.PathText), Started: r.Started, Problems: r.Problems, Reductions: reductions})
	}
	return list, nil
}

func (p *Pipeline) keepReductions(ctx context.Context, read []worker.Reduction) ([]record.Reduction, error) {
	var list []record.Reduction
	for _, r := range read {
		receipt, err := p.opt.Archive.PutBytes(ctx, r.Body)
		if err != nil {
			return nil, fmt.Errorf("keep a reduction: %w", err)
		}
		plan, err := custody.ParseHash(r.Plan)
		if err != nil {
			return nil, fmt.Errorf("digest of a reduction plan: %w", err)
		}
		list = append(list, record.Reduction{Plan: plan, Engine: qc.Engine, Object: receipt.Hash, Size: receipt.Size})
	}
	return list, nil
}

func (p *Pipeline) refuse(ctx context.Context, c *record.Claim, problem parsers.Problem, warnings []parsers.Problem) error {
	p.event(c).Str("code", problem.Code).Stringer("where", problem.Where).Str("reason", problem.Message).Msg("file refused")
	return p.opt.Store.Refuse(ctx, c, problem, warnings)
}

// damaged tells whether the archive no longer has an object as it was taken.
func damaged(err error) bool {
	var corrupt *custody.CorruptObjectError
	return errors.Is(err, custody.ErrMissing) || errors.As(err, &corrupt)
}
