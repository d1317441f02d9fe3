package jcampdx

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"underbond/parsers"
)

// session is one call of Read.
type session struct {
	ctx   context.Context
	opt   parsers.Options
	sink  parsers.Sink
	lines *lineReader
	text  textDecoder

	stack   []*block
	blocks  int // begun so far
	records int
	signals int
	whole   int              // tables given to the sink
	lost    *parsers.Refusal // why the first damaged table was left out
	file    problemList

	field *openField    // the text record that further lines continue
	data  *pendingTable // the table that further lines belong to

	even   evenTable // reused from table to table
	groups groupTable
	rows   rowTable
}

// openField is a text record whose end is not yet known.
type openField struct {
	norm    string
	name    string
	text    []byte
	place   parsers.Place
	comment bool // a "##=" record, which is not kept
}

func (s *session) top() *block {
	if len(s.stack) == 0 {
		return nil
	}
	return s.stack[len(s.stack)-1]
}

// run reads the file to its end. A refusal says in which record it was found.
func (s *session) run() error {
	err := s.read()
	var refusal *parsers.Refusal
	if errors.As(err, &refusal) && refusal.Where.Record == 0 {
		refusal.Where.Record = s.record(s.top())
	}
	return err
}

// record is the number that the acquisition of a block has or will have; 0 for one that
// holds blocks.
func (s *session) record(b *block) int {
	switch {
	case b == nil || b.inner > 0:
		return 0
	case b.record > 0:
		return b.record
	}
	return s.records + 1
}

func (s *session) read() error {
	if err := s.ctx.Err(); err != nil {
		return fmt.Errorf("read JCAMP-DX content: %w", err)
	}
	for {
		line, err := s.lines.read()
		if err == io.EOF {
			return s.finish()
		}
		if err != nil {
			return err
		}
		if s.lines.line&0xFFF == 0 {
			if err := s.ctx.Err(); err != nil {
				return fmt.Errorf("read JCAMP-DX content: %w", err)
			}
		}
		if s.lines.sawNUL && bytes.IndexByte(line, 0) >= 0 && !s.atTail(line) {
			return parsers.Refuse("jcampdx-nul", s.lines.place(), "the text holds NUL bytes")
		}
		if err := s.line(stripComment(line)); err != nil {
			return err
		}
	}
}

// atTail reports that line may follow the last block.
func (s *session) atTail(line []byte) bool {
	return len(s.stack) == 0 && s.blocks > 0 && isTail(line)
}

// line takes one line without its comment.
func (s *session) line(line []byte) error {
	if l, ok := parseLabel(line); ok && (l.equal || l.norm == "END" || s.field == nil) {
		return s.label(l)
	}
	switch {
	case s.data != nil:
		if isBlank(line) {
			return nil
		}
		return s.dataLine(line)
	case s.field != nil:
		return s.continueField(line)
	case isBlank(line) || s.atTail(line):
		return nil
	case s.blocks == 0:
		return parsers.Refuse("jcampdx-start", s.lines.place(), "the content does not start with the label ##TITLE=")
	case len(s.stack) == 0:
		return parsers.Refuse("jcampdx-after-end", s.lines.place(), "there is text after the last ##END=")
	}
	return parsers.Refuse("jcampdx-stray-text", s.lines.place(), "the text between two blocks belongs to no label")
}

// label takes the first line of a labelled record.
func (s *session) label(l label) error {
	place := s.lines.place()
	place.Element = "##" + clip(l.name)
	if err := s.commitField(); err != nil {
		return err
	}
	s.data = nil
	switch {
	case l.norm == "TITLE" && l.equal:
		if err := s.openBlock(place); err != nil {
			return err
		}
		// The title itself is a text record.
	case l.norm == "" && l.equal:
		s.field = &openField{comment: true}
		return nil
	case len(s.stack) == 0 && s.blocks == 0:
		return parsers.Refuse("jcampdx-no-title", place, "the first label must be ##TITLE=")
	case len(s.stack) == 0:
		return parsers.Refuse("jcampdx-after-end", place, "the label stands after the last ##END=")
	case l.norm == "END":
		if !l.equal {
			s.top().warn("jcampdx-end-without-equals", place, "the label ##END has no =")
		}
		return s.closeBlock(true)
	case !l.equal:
		return parsers.Refuse("jcampdx-label", place, "the label has no =")
	case tableLabels[l.norm]:
		return s.openTable(l, place)
	}
	s.field = &openField{norm: l.norm, name: l.name, place: place}
	return s.continueField(l.value)
}

// continueField adds a line to the text record that is open.
func (s *session) continueField(line []byte) error {
	f := s.field
	if f.comment {
		return nil
	}
	if n := len(f.text); n > 0 && f.text[n-1] == '=' && !numeric[f.norm] {
		f.text = f.text[:n-1] // the string goes on
	} else if n > 0 {
		f.text = append(f.text, '\n')
	}
	f.text = append(f.text, bytes.TrimSpace(line)...)
	const overhead = 64 // of a kept label, so that empty ones are bounded too
	if b := s.top(); b.size+len(f.text)+overhead > s.opt.Limits.TokenBytes {
		return parsers.Refuse("jcampdx-limit-header", s.lines.place(),
			"the labels of the block are longer than %d bytes", s.opt.Limits.TokenBytes)
	}
	return nil
}

// commitField hands the open text record to its block.
func (s *session) commitField() error {
	f := s.field
	s.field = nil
	if f == nil || f.comment {
		return nil
	}
	text, err := s.text.decode(bytes.TrimSpace(f.text), f.place)
	if err != nil {
		return err
	}
	name, err := s.text.decode([]byte(f.name), f.place)
	if err != nil {
		return err
	}
	b := s.top()
	b.size += len(f.text) + len(f.name) + 64
	b.add(f.norm, value{name: name, text: text, place: f.place})
	return nil
}

// openBlock begins a block at a ##TITLE= label. A block that already has a table
// cannot hold blocks, so its ##END= is missing.
func (s *session) openBlock(place parsers.Place) error {
	if b := s.top(); b != nil && b.tables > 0 {
		if s.lost != nil {
			return parsers.Refuse("jcampdx-missing-end", place, "a new block begins before the ##END= of the block from line %d, and "+
				"a table is damaged (%s): more may be missing", b.place.Line, s.lost.Problem)
		}
		b.warn("jcampdx-missing-end", place, "a new block begins before the ##END= of the block from line %d", b.place.Line)
		if err := s.closeBlock(false); err != nil {
			return err
		}
	}
	if len(s.stack) >= s.opt.Limits.Depth {
		return parsers.Refuse("jcampdx-limit-depth", place, "blocks are nested deeper than %d", s.opt.Limits.Depth)
	}
	if b := s.top(); b != nil {
		b.inner++
	}
	s.blocks++
	s.even.left = s.lines.left
	s.stack = append(s.stack, &block{outer: s.top(), place: place, values: map[string]value{}, said: declared{}})
	s.lines.startDigest()
	return nil
}

// closeBlock ends the innermost block, at its ##END= or, when that is missing,
// before the current line.
func (s *session) closeBlock(atEnd bool) error {
	b := s.top()
	s.stack = s.stack[:len(s.stack)-1]
	if b.open != nil {
		if err := s.handOver(b, true); err != nil {
			return err
		}
		trailer := parsers.Trailer{Digest: b.outerDigest(s.lines.digest(atEnd)), Problems: b.all(b.record)}
		if err := s.sink.End(trailer); err != nil {
			return fmt.Errorf("end record %d: %w", b.record, err)
		}
		return nil
	}
	s.file.keep(b.all(0)...)
	if v, ok := b.values["BLOCKS"]; ok {
		if n, _, good := headerNumber(v.text); !good || n != float64(b.inner) {
			if s.lost != nil {
				return parsers.Refuse("jcampdx-blocks", v.place, "declared number of blocks is %q, there are %d, and a table is damaged (%s): blocks may be missing",
					clip(v.text), b.inner, s.lost.Problem)
			}
			s.file.warn("jcampdx-blocks", v.place, "declared number of blocks is %q, there are %d", clip(v.text), b.inner)
		}
	}
	if b.inner == 0 {
		s.file.warn("jcampdx-block-without-data", b.place, "the block %q has no table of data", clip(b.title))
	}
	return nil
}

// finish judges the end of the content.
func (s *session) finish() error {
	if b := s.top(); b != nil {
		return parsers.Refuse("jcampdx-incomplete", s.lines.place(),
			"the content ends before the ##END= of the block from line %d", b.place.Line)
	}
	if s.blocks == 0 {
		return parsers.Refuse("jcampdx-start", parsers.Place{}, "the content holds no label ##TITLE=")
	}
	if s.records == 0 {
		return parsers.Refuse("jcampdx-no-data", parsers.Place{}, "no block has a table of data")
	}
	if s.whole == 0 {
		return s.lost
	}
	return nil
}
