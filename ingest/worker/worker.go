// Package worker reads one file: bytes in the archive become acquisitions with their
// reductions, or a document. Job and report are plain values, so that the work can be
// done in this process or in another one.
package worker

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path"
	"runtime/debug"
	"slices"
	"time"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
	"underbond/parsers"
	"underbond/parsers/compressed"
	"underbond/parsers/delimited"
	"underbond/parsers/registry"
	"underbond/qc"
	"underbond/qc/method"
)

// Job says what to read and how.
type Job struct {
	Object     string // path of the bytes
	Hash       custody.Hash
	File       string // path below the root, for messages and matching, with slashes
	Root       string
	Instrument string
	// Format is "auto" or a format's name; Profile names the profile of a delimited export.
	Format, Profile string
	Encoding        string
	Profiles        []*delimited.Profile
	Methods         []*method.Method // acquisitions are reduced for each of them
	Zone            *time.Location   // of the instrument PC
	Limits          parsers.Limits
}

// Report is what came of a job. Exactly one of Refusal, Wait and Acquisitions is set.
type Report struct {
	Refusal *parsers.Problem
	// Wait names what must come before the file can be read.
	Wait         string
	Warnings     []parsers.Problem
	Acquisitions []Acquisition
}

// Acquisition is one acquisition as read.
type Acquisition struct {
	Key        string
	Record     int
	Digest     custody.Hash
	Header     parsers.Header
	Started    parsers.Started
	Problems   []parsers.Problem
	Reductions []Reduction
}

// Reduction is a reduction for one plan, as canonical JSON.
type Reduction struct {
	Plan string
	Body []byte
}

// Source opens the bytes of a job.
type Source interface {
	io.Reader
	io.ReaderAt
	io.Closer
}

// Read does a job. The error is never the file's fault: what is wrong with the file is
// in the report. A panic of a reader is a refusal with its place in the program.
func Read(ctx context.Context, job Job, src Source, size int64) (report Report, err error) {
	defer func() {
		if p := recover(); p != nil {
			refusal := parsers.Refuse("reader-panic", parsers.Place{}, "the reader stopped unexpectedly: %v; this is a fault of the program, please report it with the file\n%s", p, debug.Stack())
			report, err = Report{Refusal: &refusal.Problem}, nil
		}
	}()
	faultpoint.Reach("read", job.BaseName())
	c := newCollector(job)
	warnings, err := c.read(ctx, src, size)
	var refused *parsers.Refusal
	var wait *waitError
	switch {
	case errors.As(err, &refused):
		return Report{Refusal: &refused.Problem}, nil
	case errors.As(err, &wait):
		return Report{Wait: wait.what}, nil
	case err != nil:
		return Report{}, fmt.Errorf("read %s: %w", job.File, err)
	}
	if len(c.list) == 0 {
		p := parsers.Refuse("empty", parsers.Place{}, "the file holds no acquisition")
		return Report{Refusal: &p.Problem}, nil
	}
	if len(c.list) == 1 && c.list[0].Digest.IsZero() {
		c.list[0].Digest = job.Hash
	}
	return Report{Warnings: warnings, Acquisitions: c.list}, nil
}

// waitError says what must come before the file can be read.
type waitError struct{ what string }

func (e *waitError) Error() string { return "waiting for " + e.what }

// read opens compressed content and reads what is in it.
func (c *collector) read(ctx context.Context, src io.ReaderAt, size int64) ([]parsers.Problem, error) {
	content, err := compressed.Open(src, size, c.job.Limits)
	if err != nil {
		return nil, err
	}
	result, err := content.Read(ctx, func(m *compressed.Member, head []byte) (parsers.Reader, error) {
		c.member, c.inMember = m.Name, 0
		return choose(c.job, head)
	}, parsers.Options{Limits: c.job.Limits, Encoding: c.job.Encoding}, c)
	return result.Warnings, err
}

// choose finds the reader for a job. Its error is a refusal or a *waitError.
func choose(job Job, head []byte) (parsers.Reader, error) {
	all := registry.New(job.Profiles)
	format, profile := job.Format, job.Profile
	if format == parsers.FormatDelimited && profile != "" && !slices.ContainsFunc(job.Profiles, func(p *delimited.Profile) bool { return p.Name == profile }) {
		return nil, &waitError{"profile " + profile}
	}
	if format == "" || format == "auto" {
		matches, err := all.Detect(head)
		var unknown *registry.UnknownError
		if errors.As(err, &unknown) && isText(head) {
			return nil, &waitError{"a profile that describes it: " + err.Error()}
		}
		if err != nil {
			return nil, parsers.Refuse("unknown-format", parsers.Place{}, "%s", err)
		}
		return matches[0].Reader, nil
	}
	reader, err := all.Reader(format, profile)
	if err != nil {
		return nil, parsers.Refuse("unknown-format", parsers.Place{}, "%s", err)
	}
	return reader, nil
}

// isText tells text that some profile may describe from bytes that no reader will know.
func isText(head []byte) bool {
	if bytes.HasPrefix(head, []byte{0xFF, 0xFE}) || bytes.HasPrefix(head, []byte{0xFE, 0xFF}) {
		return true // UTF-16
	}
	return len(head) > 0 && !bytes.ContainsFunc(head, func(r rune) bool { return r < ' ' && r != '\t' && r != '\r' && r != '\n' })
}

// collector is the sink of a job: it keeps headers and feeds one reducer a plan.
type collector struct {
	job      Job
	member   string // of an archive with several, whose acquisitions are told apart by it
	inMember int    // acquisitions of the member so far
	current  Acquisition
	reduce   []*qc.Reducer
	list     []Acquisition
	keys     map[string]bool // of list and current
}

func newCollector(job Job) *collector {
	c := &collector{job: job, keys: map[string]bool{}}
	seen := map[string]bool{}
	for _, m := range job.Methods {
		plan := qc.NewPlan(m)
		digest := plan.Digest()
		if seen[digest] {
			continue
		}
		seen[digest] = true
		c.reduce = append(c.reduce, qc.NewReducer(plan, func(_ parsers.Header, _ parsers.Trailer, r *qc.Reduction) error {
			body, err := qc.Canonical(r)
			if err != nil {
				return fmt.Errorf("encode the reduction: %w", err)
			}
			c.current.Reductions = append(c.current.Reductions, Reduction{Plan: digest, Body: body})
			return nil
		}))
	}
	return c
}

// Begin implements parsers.Sink.
func (c *collector) Begin(h parsers.Header) error {
	h.Fields = slices.Clone(h.Fields)
	key := h.NativeKey
	if c.inMember++; key == "" {
		key = c.job.Root + "/" + c.job.File
		if c.member != "" {
			key += "!" + c.member
		}
		if c.inMember > 1 {
			key += fmt.Sprintf("#%d", c.inMember)
		}
	}
	if c.keys[key] {
		return parsers.Refuse("duplicate-key", parsers.Place{Record: h.Record}, "acquisition %s is in the file twice; neither may stand for the other", key)
	}
	c.keys[key] = true
	c.current = Acquisition{Key: key, Record: h.Record, Header: h, Started: h.Start.Resolve(c.job.Zone)}
	return c.each(func(r *qc.Reducer) error { return r.Begin(h) })
}

// Signal implements parsers.Sink.
func (c *collector) Signal(s parsers.Signal) error {
	return c.each(func(r *qc.Reducer) error { return r.Signal(s) })
}

// End implements parsers.Sink.
func (c *collector) End(t parsers.Trailer) error {
	c.current.Digest, c.current.Problems = t.Digest, t.Problems
	if err := c.each(func(r *qc.Reducer) error { return r.End(t) }); err != nil {
		return err
	}
	c.list = append(c.list, c.current)
	return nil
}

func (c *collector) each(call func(*qc.Reducer) error) error {
	for _, r := range c.reduce {
		if err := call(r); err != nil {
			return err
		}
	}
	return nil
}

// BaseName is the file's name without folders, as worklists give it.
func (j Job) BaseName() string { return path.Base(j.File) }
