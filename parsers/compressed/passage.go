package compressed

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"underbond/parsers"
)

const (
	wholeBytes = 16 << 20 // data up to this size is kept in memory once it was decompressed
	tailBytes  = 1 << 20  // kept of longer data; end marks are looked for there
)

// passage is what one decompression from start to end leaves: that it succeeded, and
// what is needed to look at places in the data without doing it again each time.
type passage struct {
	size   int64
	digest [32]byte
	whole  []byte // when short enough
	head   []byte
	tail   []byte // ends at size
}

// pass decompresses the member once, to its end.
func (m *Member) pass(ctx context.Context) (*passage, error) {
	if m.passed != nil {
		return m.passed, nil
	}
	in, err := m.open()
	if err != nil {
		return nil, err
	}
	defer in.Close()
	p := &passage{}
	sum := sha256.New()
	kept := make([]byte, 0, parsers.SniffLength)
	for err != io.EOF {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("decompress: %w", err)
		}
		switch {
		case len(kept) < cap(kept):
		case cap(kept) < wholeBytes:
			kept = append(make([]byte, 0, 2*cap(kept)), kept...)
		default:
			if p.head == nil {
				p.head = append(p.head, kept[:parsers.SniffLength]...)
			}
			kept = kept[:copy(kept, kept[len(kept)-tailBytes:])]
		}
		var n int
		n, err = in.Read(kept[len(kept):min(cap(kept), len(kept)+tailBytes)])
		if err != nil && err != io.EOF {
			return nil, err
		}
		sum.Write(kept[len(kept) : len(kept)+n])
		kept = kept[:len(kept)+n]
		p.size += int64(n)
	}
	sum.Sum(p.digest[:0])
	if p.head == nil {
		p.whole = kept
	} else {
		p.tail = append(p.tail, kept...)
	}
	m.passed = p
	return p, nil
}

// Head gives the first bytes of the data, up to n.
func (m *Member) Head(n int) ([]byte, error) {
	if m.passed != nil && m.passed.whole != nil {
		return m.passed.whole[:min(n, len(m.passed.whole))], nil
	}
	in, err := m.open()
	if err != nil {
		return nil, err
	}
	defer in.Close()
	head := make([]byte, n)
	got, err := io.ReadFull(in, head)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return head[:got], err
}

// Prover is the part of a parsers.Reader that looks for an end mark.
type Prover interface {
	EndProof(r io.ReaderAt, size int64) (parsers.EndProof, string, error)
}

// EndProof decompresses the member to its end and looks for the end mark of its format.
// Errors: *parsers.Refusal of the compressed data, or an error of the source.
func (m *Member) EndProof(ctx context.Context, prover Prover) (parsers.EndProof, string, error) {
	if m.kind == Plain {
		return prover.EndProof(m.src.r, m.size)
	}
	p, err := m.pass(ctx)
	if err != nil {
		return parsers.EndProofFailed, "", err
	}
	at := &places{ctx: ctx, m: m, p: p}
	defer at.close()
	return prover.EndProof(at, p.size)
}

// places gives decompressed data at any place. Reading onwards is as cheap as a stream;
// going back before what is kept starts the decompression again.
type places struct {
	ctx context.Context
	m   *Member
	p   *passage
	in  io.ReadCloser
	at  int64 // of in
}

// ReadAt implements io.ReaderAt.
func (r *places) ReadAt(b []byte, off int64) (int, error) {
	p := r.p
	switch end := off + int64(len(b)); {
	case off >= p.size:
		return 0, io.EOF
	case p.whole != nil:
		return ended(copy(b, p.whole[off:]), len(b))
	case end <= int64(len(p.head)):
		return copy(b, p.head[off:]), nil
	case off >= p.size-int64(len(p.tail)):
		return ended(copy(b, p.tail[off-p.size+int64(len(p.tail)):]), len(b))
	}
	if err := r.ctx.Err(); err != nil {
		return 0, fmt.Errorf("decompress: %w", err)
	}
	if r.in == nil || off < r.at {
		r.close()
		in, err := r.m.open()
		if err != nil {
			return 0, err
		}
		r.in, r.at = in, 0
	}
	skipped, err := io.CopyN(io.Discard, r.in, off-r.at)
	if r.at += skipped; err != nil {
		return 0, err
	}
	n, err := io.ReadFull(r.in, b)
	r.at += int64(n)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = io.EOF
	}
	return n, err
}

func ended(n, wanted int) (int, error) {
	if n < wanted {
		return n, io.EOF
	}
	return n, nil
}

func (r *places) close() {
	if r.in != nil {
		r.in.Close()
		r.in = nil
	}
}
