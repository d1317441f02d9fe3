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
	head := make([]byte, min(size, parsers.SniffLength))
	if _, err := src.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return Report{}, fmt.Errorf("read the head of %s: %w", job.File, err)
	}
	reader, refusal, wait := choose(job, head)
	if refusal != nil || wait != "" {
		return Report{Refusal: refusal, Wait: wait}, nil
	}
	proof, why, err := reader.EndProof(src, size)
	if err != nil {
		return Report{}, fmt.Errorf("look for the end of %s: %w", job.File, err)
	}
	if proof == parsers.EndProofFailed {
		p := parsers.Refuse("incomplete", parsers.Place{Offset: size}, "the end mark of %s is not there: %s; the file was cut off, export it again", reader.Format(), why)
		return Report{Refusal: &p.Problem}, nil
	}
	c := newCollector(job)
	warnings, err := reader.Read(ctx, src, parsers.Options{Limits: job.Limits, Encoding: job.Encoding}, c)
	var refused *parsers.Refusal
	if errors.As(err, &refused) {
		return Report{Refusal: &refused.Problem}, nil
	}
	if err != nil {
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

// choose finds the reader for a job, or says why there is none.
func choose(job Job, head []byte) (parsers.Reader, *parsers.Problem, string) {
	all := registry.New(job.Profiles)
	format, profile := job.Format, job.Profile
	if format == parsers.FormatDelimited && profile != "" && !slices.ContainsFunc(job.Profiles, func(p *delimited.Profile) bool { return p.Name == profile }) {
		return nil, nil, "profile " + profile
	}
	if format == "" || format == "auto" {
		matches, err := all.Detect(head)
		var unknown *registry.UnknownError
		if errors.As(err, &unknown) && isText(head) {
			return nil, nil, "a profile that describes it: " + err.Error()
		}
		if err != nil {
			p := parsers.Refuse("unknown-format", parsers.Place{}, "%s", err)
			return nil, &p.Problem, ""
		}
		return matches[0].Reader, nil, ""
	}
	reader, err := all.Reader(format, profile)
	if err != nil {
		p := parsers.Refuse("unknown-format", parsers.Place{}, "%s", err)
		return nil, &p.Problem, ""
	}
	return reader, nil, ""
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
	job     Job
	current Acquisition
	reduce  []*qc.Reducer
	list    []Acquisition
}

func newCollector(job Job) *collector {
	c := &collector{job: job}
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
	if key == "" {
		key = c.job.Root + "/" + c.job.File
		if h.Record > 1 {
			key += fmt.Sprintf("#%d", h.Record)
		}
	}
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
