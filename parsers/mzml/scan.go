package mzml

import (
	"bytes"
	"context"
	"fmt"
	"hash"
	"io"

	"underbond/parsers"
)

type tokenKind uint8

const (
	tokenEnd   tokenKind = iota // end tag, or the end of an empty element
	tokenStart                  // start tag
	tokenText                   // character data between two tags
	tokenEOF                    // end of a whole document
)

const scanBuffer = 256 << 10

// scanner is a pull scanner over UTF-8 XML. It checks well-formedness: names, nesting,
// attributes, references, characters, one root element and nothing but comments
// after it. What a token's fields point to is valid until the next call of next.
type scanner struct {
	ctx context.Context
	src *decoded
	lim parsers.Limits

	buf      []byte
	pos, end int  // unread content is buf[pos:end]
	mark     int  // content from here on is kept when more is read
	eof      bool // src has no more
	err      error

	base     int64 // bytes dropped before buf[0]
	dropped  tally // of them
	counted  tally // of everything before buf[counted.pos]
	fragment bool  // the content is a part of a file: lines are unknown

	sum    hash.Hash // over the original bytes; nil when not wanted
	summed int       // buf[:summed] is in sum

	// The token.
	tag     int // position of the token's first byte in buf
	qname   []byte
	local   []byte
	ns      string
	attrs   []attr
	text    []byte
	scratch []byte

	stack    []element
	names    []byte // qualified names of open elements, end to end
	bindings []binding
	selfEnd  bool // the start tag read last was an empty element
	rootSeen bool
	// payload lifts the token limit for character data to payloadMax and leaves the
	// check of its characters to whoever decodes it.
	payload    bool
	payloadMax int
}

type element struct {
	name     int // offset in names
	bindings int // length of bindings before the element
	ns       string
	prefix   int // length of the prefix in the name, with its colon
}

type attr struct{ name, value []byte }

func newScanner(ctx context.Context, src *decoded, lim parsers.Limits) *scanner {
	return &scanner{ctx: ctx, src: src, lim: lim, buf: make([]byte, scanBuffer)}
}

// at gives the place of buf[pos] and the element that is open.
func (s *scanner) at(pos int) parsers.Place {
	p := s.spot(pos)
	if n := len(s.stack); n > 0 {
		p.Element = string(s.names[s.stack[n-1].name:])
	}
	return p
}

// spot gives the place of buf[pos].
func (s *scanner) spot(pos int) parsers.Place {
	t := &s.counted
	if pos < t.pos {
		again := s.dropped
		t = &again
	}
	t.advance(s.buf[t.pos:pos])
	p := parsers.Place{Offset: s.src.offset(s.base+int64(pos), t.cont, t.quad)}
	if !s.fragment {
		p.Line, p.Column = t.lines+1, t.lineBytes-t.lineCont+1
	}
	return p
}

// fail makes a refusal sticky and gives it back.
func (s *scanner) fail(code string, pos int, format string, args ...any) error {
	if s.err == nil {
		s.err = parsers.Refuse(code, s.at(pos), format, args...)
	}
	return s.err
}

func (s *scanner) syntax(pos int, format string, args ...any) error {
	return s.fail(CodeSyntax, pos, format, args...)
}

// cut is the failure of content that ends where it may not.
func (s *scanner) cut() error {
	if s.err != nil {
		return s.err
	}
	if len(s.stack) > 0 {
		return s.fail(CodeTruncated, s.end, "the content ends inside the element %s", s.names[s.stack[len(s.stack)-1].name:])
	}
	return s.fail(CodeTruncated, s.end, "the content ends inside a tag or comment")
}

// drop forgets buf[:n].
func (s *scanner) drop(n int) {
	if n == 0 {
		return
	}
	s.hashTo(n)
	if s.counted.pos <= n {
		s.counted.advance(s.buf[s.counted.pos:n])
		s.dropped = s.counted
	} else {
		s.dropped.advance(s.buf[:n])
	}
	s.base += int64(n)
	s.dropped.pos = 0
	s.counted.pos -= n
	copy(s.buf, s.buf[n:s.end])
	s.pos, s.end, s.mark, s.tag, s.summed = s.pos-n, s.end-n, s.mark-n, s.tag-n, s.summed-n
}

// hashTo brings sum up to buf[:n].
func (s *scanner) hashTo(n int) {
	if n > s.summed {
		if s.sum != nil {
			s.src.original(s.sum, s.buf[s.summed:n])
		}
		s.summed = n
	}
}

// fill reads more content, keeping what stands from mark on. It reports false at the
// end of the content and after a failure; the buffer grows up to max bytes in one token.
func (s *scanner) fill(max int) bool {
	if s.err != nil || s.eof {
		return false
	}
	if err := s.ctx.Err(); err != nil {
		s.err = err
		return false
	}
	if s.end-s.mark > max {
		s.fail(CodeLimitToken, s.mark, "a tag, comment or text longer than %d bytes", max)
		return false
	}
	s.drop(s.mark)
	if s.end == len(s.buf) {
		grown := make([]byte, 2*len(s.buf))
		copy(grown, s.buf[:s.end])
		s.buf = grown
	}
	n, err := io.ReadFull(s.src, s.buf[s.end:])
	s.end += n
	switch err {
	case nil:
	case io.EOF, io.ErrUnexpectedEOF:
		s.eof = true
	default:
		s.srcFailed(err)
		return false
	}
	return n > 0
}

func (s *scanner) srcFailed(err error) {
	r, refused := err.(*parsers.Refusal)
	switch {
	case !refused:
		s.err = fmt.Errorf("read mzML content: %w", err)
	default:
		where := s.at(s.end)
		where.Element = ""
		r.Where = where
		s.err = r
	}
}

// need makes n bytes available from pos on.
func (s *scanner) need(n int) bool {
	for s.end-s.pos < n {
		if !s.fill(s.lim.TokenBytes) {
			return false
		}
	}
	return true
}

// find gives the position of sep in buf at or after pos+from, reading more as needed.
func (s *scanner) find(sep string, from, max int) (int, bool) {
	for {
		if start := s.pos + from; start < s.end {
			if i := bytes.Index(s.buf[start:s.end], []byte(sep)); i >= 0 {
				return start + i, true
			}
			if n := s.end - s.pos - len(sep) + 1; n > from {
				from = n
			}
		}
		if !s.fill(max) {
			return 0, false
		}
	}
}
