// Package inspect says what an export file holds: its format, what the reader remarks,
// and a summary of each signal. It needs neither a configuration nor a database.
package inspect

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"time"

	"underbond/ingest/custody"
	"underbond/parsers"
	"underbond/parsers/compressed"
	"underbond/parsers/delimited"
	"underbond/parsers/registry"
)

// Options steer File.
type Options struct {
	Profiles []*delimited.Profile // of delimited exports
	Zone     *time.Location       // of the instrument PC; nil: unknown
	Encoding string               // code page of text that does not say its own
	Points   bool                 // keep all points and cells
	All      bool                 // keep every spectrum, not only first, middle and last
}

// File reads an export. What is wrong with its content is in the report; the error is
// that of a file that cannot be read.
func File(ctx context.Context, path string, opt Options) (*Report, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open the export: %w", err)
	}
	defer file.Close()
	target, err := filepath.EvalSymlinks(path) // custody itself follows no link
	if err != nil {
		return nil, fmt.Errorf("find the export: %w", err)
	}
	hash, identity, err := custody.Digest(ctx, custody.Source{Path: target})
	if err != nil {
		return nil, fmt.Errorf("hash the export: %w", err)
	}
	r := &Report{File: path, SHA256: hash.String(), EndProof: parsers.EndProofNone, Problems: []Problem{}, Acquisitions: []Acquisition{}}
	list, err := r.read(ctx, file, identity.Size, opt)
	var refusal *parsers.Refusal
	switch {
	case errors.As(err, &refusal):
		r.Outcome = OutcomeRefused
		r.Problems = append(r.Problems, Problem(refusal.Problem))
		return r, nil
	case err != nil:
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	r.Acquisitions, r.Outcome = list, OutcomeRead
	if len(r.Problems) > 0 {
		r.Outcome = OutcomeWarned
	}
	return r, nil
}

// source is what readers need of a file.
type source interface {
	io.Reader
	io.ReaderAt
}

// read fills in what reading shows. A panic of a reader is a refusal with its place in the program.
func (r *Report) read(ctx context.Context, src source, size int64, opt Options) (list []Acquisition, err error) {
	defer func() {
		if p := recover(); p != nil {
			list, err = nil, parsers.Refuse("reader-panic", parsers.Place{}, "the reader stopped unexpectedly: %v; this is a fault of the program, please report it with the file\n%s", p, debug.Stack())
		}
	}()
	if size == 0 {
		return nil, parsers.Refuse("empty", parsers.Place{}, "the file is empty")
	}
	content, err := compressed.Open(src, size, parsers.Limits{})
	if err != nil {
		if compressed.IsCut(err) {
			r.EndProof = parsers.EndProofFailed
		}
		return nil, err
	}
	c := &collector{opt: opt}
	result, err := content.Read(ctx, func(_ *compressed.Member, head []byte) (parsers.Reader, error) {
		reader, profile, err := choose(head, opt.Profiles)
		if err != nil {
			return nil, err
		}
		r.Format, r.Profile = Text(reader.Format()), Text(profile)
		return reader, nil
	}, parsers.Options{Encoding: opt.Encoding}, c)
	r.EndProof, r.FormatVersion = result.Proof, Text(c.version)
	if err != nil {
		return nil, err
	}
	if len(c.list) == 0 {
		return nil, parsers.Refuse("empty", parsers.Place{}, "the file holds no acquisition")
	}
	r.Problems = merge(c.problems, result.Warnings)
	return c.list, nil
}

// merge lists the warnings on the acquisitions and those on the file, each once.
func merge(acquisitions, file []parsers.Problem) []Problem {
	list, seen := []Problem{}, map[parsers.Problem]bool{}
	for _, p := range slices.Concat(acquisitions, file) {
		if !seen[p] {
			seen[p] = true
			list = append(list, Problem(p))
		}
	}
	return list
}

// choose finds the reader by content; its error is a refusal that says what would help.
func choose(head []byte, profiles []*delimited.Profile) (parsers.Reader, string, error) {
	matches, err := registry.New(profiles).Detect(head)
	var unknown *registry.UnknownError
	var ambiguous *registry.AmbiguousError
	switch {
	case err == nil:
		return matches[0].Reader, matches[0].Profile, nil
	case errors.As(err, &unknown) && isText(head):
		return nil, "", parsers.Refuse("no-profile", parsers.Place{}, "%s\nIf this is a delimited export, name the profile that describes it with --profile.", err)
	case errors.As(err, &ambiguous):
		return nil, "", parsers.Refuse("ambiguous-profile", parsers.Place{}, "%s; here give only one of them with --profile", err)
	}
	return nil, "", parsers.Refuse("unknown-format", parsers.Place{}, "%s", err)
}

// isText tells text that some profile may describe from bytes that no reader will know.
func isText(head []byte) bool {
	if bytes.HasPrefix(head, []byte{0xFF, 0xFE}) || bytes.HasPrefix(head, []byte{0xFE, 0xFF}) {
		return true // UTF-16
	}
	return !bytes.ContainsFunc(head, func(r rune) bool { return r < ' ' && r != '\t' && r != '\r' && r != '\n' })
}
