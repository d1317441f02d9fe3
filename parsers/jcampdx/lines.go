package jcampdx

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"hash"
	"io"
	"math"

	"underbond/parsers"
)

const (
	chunkBytes = 256 << 10
	noBreak    = math.MaxInt
)

// lineReader cuts a stream into lines that end with CR LF, LF or CR, mixed as they
// come, and hashes the bytes of a block on the way. Its memory is one chunk, or one
// line if that is longer.
type lineReader struct {
	src  io.Reader
	buf  []byte
	next int // start of the line after the current one
	end  int // end of the bytes read
	lf   int // first LF at or after next, noBreak when the buffer holds none
	cr   int // first CR, likewise
	raw  int // start of the current line
	eof  bool

	line    int   // number of the current line, from 1
	base    int64 // offset in the content of buf[0]
	noPlace bool  // offsets are unknown because the content was transcoded
	sawNUL  bool  // some byte read so far was NUL

	size    int64 // of the source; 0 is unknown
	maxLine int
	hash    hash.Hash
	hashed  int // bytes of buf before this are in hash
}

// newLineReader prepares src for reading lines of UTF-8 or of a one-byte code page:
// byte order marks go, UTF-16 is transcoded.
func newLineReader(src io.Reader, opt parsers.Options) (*lineReader, error) {
	counted := &limitedReader{src: src, left: opt.Limits.TotalBytes}
	head := make([]byte, 64)
	n, err := io.ReadFull(counted, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, readFailed(err)
	}
	head = head[:n]
	plain, skipped, transcoded, err := openText(head, counted, opt.Encoding)
	if err != nil {
		return nil, err
	}
	return &lineReader{
		src: plain, buf: make([]byte, chunkBytes), lf: noBreak, cr: noBreak,
		base: int64(skipped), noPlace: transcoded, size: sizeOf(src),
		maxLine: opt.Limits.TokenBytes, hash: sha256.New(),
	}, nil
}

// sizeOf asks a source that knows for its size.
func sizeOf(src io.Reader) int64 {
	if s, ok := src.(interface{ Size() int64 }); ok {
		return s.Size()
	}
	return 0
}

// left is how many bytes may follow those that were read; 0 is unknown.
func (r *lineReader) left() int64 { return max(r.size-r.base-int64(r.next), 0) }

// readFailed passes refusals on and says for all others what was being done.
func readFailed(err error) error {
	if _, ok := err.(*parsers.Refusal); ok {
		return err
	}
	return fmt.Errorf("read JCAMP-DX content: %w", err)
}

// read gives the next line without its end. The slice holds until the next call.
// At the end of the content it returns io.EOF.
func (r *lineReader) read() ([]byte, error) {
	for {
		stop := min(r.lf, r.cr)
		switch {
		case stop == noBreak && r.eof:
			if r.next == r.end {
				return nil, io.EOF
			}
			return r.take(r.end, r.end)
		case stop == noBreak, r.cr == r.end-1 && stop == r.cr && !r.eof:
			// A CR as the last byte read may be the first half of CR LF.
			if err := r.fill(); err != nil {
				return nil, err
			}
		case stop == r.cr && r.lf == r.cr+1:
			return r.take(stop, stop+2)
		default:
			return r.take(stop, stop+1)
		}
	}
}

// take makes buf[next:stop] the current line and moves on to after.
func (r *lineReader) take(stop, after int) ([]byte, error) {
	if stop-r.next > r.maxLine {
		return nil, r.tooLong()
	}
	line := r.buf[r.next:stop]
	r.raw, r.next = r.next, after
	r.line++
	if r.lf < after {
		r.lf = r.find('\n', after)
	}
	if r.cr < after {
		r.cr = r.find('\r', after)
	}
	return line, nil
}

func (r *lineReader) tooLong() error {
	return parsers.Refuse("jcampdx-limit-line", parsers.Place{Line: r.line + 1, Offset: r.offsetOf(r.next)},
		"the line is longer than %d bytes", r.maxLine)
}

func (r *lineReader) find(c byte, from int) int {
	if i := bytes.IndexByte(r.buf[from:r.end], c); i >= 0 {
		return from + i
	}
	return noBreak
}

// fill reads more, after moving what is left to the front of the buffer.
func (r *lineReader) fill() error {
	if r.end-r.next > r.maxLine {
		return r.tooLong()
	}
	if r.next > 0 {
		r.feed()
		shift := r.next
		copy(r.buf, r.buf[shift:r.end])
		r.base += int64(shift)
		r.end -= shift
		r.next, r.raw, r.hashed = 0, 0, 0
		if r.lf != noBreak {
			r.lf -= shift
		}
		if r.cr != noBreak {
			r.cr -= shift
		}
	}
	if r.end == len(r.buf) {
		grown := make([]byte, 2*len(r.buf))
		copy(grown, r.buf)
		r.buf = grown
	}
	for tries := 0; ; tries++ {
		n, err := r.src.Read(r.buf[r.end:])
		from := r.end
		r.end += n
		if n > 0 {
			if r.lf == noBreak {
				r.lf = r.find('\n', from)
			}
			if r.cr == noBreak {
				r.cr = r.find('\r', from)
			}
			r.sawNUL = r.sawNUL || bytes.IndexByte(r.buf[from:r.end], 0) >= 0
		}
		if err == io.EOF {
			r.eof = true
			return nil
		}
		if err != nil {
			return readFailed(err)
		}
		if n > 0 {
			return nil
		}
		if tries == 100 {
			return readFailed(io.ErrNoProgress)
		}
	}
}

// place is where the current line is.
func (r *lineReader) place() parsers.Place {
	return parsers.Place{Line: r.line, Offset: r.offsetOf(r.raw)}
}

func (r *lineReader) offsetOf(i int) int64 {
	if r.noPlace {
		return 0
	}
	return r.base + int64(i)
}

// startDigest begins a digest at the start of the current line.
func (r *lineReader) startDigest() {
	r.hash.Reset()
	r.hashed = r.raw
}

// feed hands the bytes of whole lines to the digest.
func (r *lineReader) feed() {
	if r.hashed < r.next {
		r.hash.Write(r.buf[r.hashed:r.next])
		r.hashed = r.next
	}
}

// digest is the SHA-256 of the bytes from startDigest up to the current line, which
// counts when with is set.
func (r *lineReader) digest(with bool) (sum [32]byte) {
	if with {
		r.feed()
	} else if r.hashed < r.raw {
		r.hash.Write(r.buf[r.hashed:r.raw])
		r.hashed = r.raw
	}
	r.hash.Sum(sum[:0])
	return sum
}

// limitedReader refuses content that is longer than allowed.
type limitedReader struct {
	src  io.Reader
	left int64
}

func (l *limitedReader) Read(p []byte) (int, error) {
	n, err := l.src.Read(p)
	l.left -= int64(n)
	if l.left < 0 {
		return 0, parsers.Refuse("jcampdx-limit-bytes", parsers.Place{}, "the content is longer than the allowed total")
	}
	return n, err
}
