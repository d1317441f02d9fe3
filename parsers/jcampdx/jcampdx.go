// Package jcampdx reads JCAMP-DX spectra: the 4.24 standard for infrared data
// (McDonald and Wilks, Appl. Spectrosc. 42, 151, 1988) and its 5.x extensions for
// nuclear magnetic resonance, mass and ion mobility spectra.
//
// Every data block is one acquisition. The reader streams over lines: it holds one
// table at a time and nothing is sized from a count that the content declares.
package jcampdx

import (
	"bytes"
	"context"
	"io"

	"underbond/parsers"
)

// Reader is the JCAMP-DX reader. It has no state; the zero value is ready to use.
//
// Warnings about one acquisition travel in its Trailer; Read returns the warnings
// that concern the file as a whole.
type Reader struct{}

// New gives a JCAMP-DX reader.
func New() parsers.Reader { return Reader{} }

// Format implements parsers.Reader.
func (Reader) Format() string { return parsers.FormatJCAMPDX }

// Sniff judges whether head opens a JCAMP-DX file: the first label must be ##TITLE=.
func (Reader) Sniff(head []byte) parsers.Guess {
	guess := parsers.Guess{Format: parsers.FormatJCAMPDX, Reason: "no ##TITLE= label"}
	plain, err := plainHead(head)
	if err != nil {
		return guess
	}
	first := true
	for len(plain) > 0 {
		end := bytes.IndexAny(plain, "\r\n")
		if end < 0 {
			end = len(plain)
		}
		line := stripComment(plain[:end])
		plain = plain[min(end+1, len(plain)):]
		if isBlank(line) {
			continue
		}
		label, ok := parseLabel(line)
		switch {
		case ok && first && label.norm == "TITLE":
			guess.Confidence, guess.Reason = 90, "first label is ##TITLE="
		case ok && label.norm == "JCAMPDX":
			guess.Confidence, guess.Reason = max(guess.Confidence+9, 60), "has the label ##JCAMP-DX="
			return guess
		case ok && label.norm == "TITLE" && guess.Confidence == 0:
			guess.Confidence, guess.Reason = 50, "##TITLE= is there but is not the first line"
		}
		first = false
	}
	return guess
}

// EndProof looks for ##END= as the last label of the outermost block. Labels are
// followed from the start, because an inner block's ##END= looks just the same.
func (Reader) EndProof(r io.ReaderAt, size int64) (parsers.EndProof, string, error) {
	return proveEnd(io.NewSectionReader(r, 0, size))
}

// Read implements parsers.Reader.
func (Reader) Read(ctx context.Context, src io.Reader, opt parsers.Options, sink parsers.Sink) ([]parsers.Problem, error) {
	opt.Limits = opt.Limits.WithDefaults()
	lines, err := newLineReader(src, opt)
	if err != nil {
		return nil, err
	}
	s := &session{ctx: ctx, opt: opt, sink: sink, lines: lines, text: textDecoder{encoding: opt.Encoding, transcoded: lines.noPlace}}
	if err := s.run(); err != nil {
		return nil, err
	}
	return s.file.all(0), nil
}
