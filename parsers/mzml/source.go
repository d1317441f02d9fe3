package mzml

import (
	"bufio"
	"errors"
	"io"

	"github.com/klauspost/compress/gzip"

	"underbond/parsers"
)

// sourceError marks an error of the caller's reader, which says nothing about the content.
type sourceError struct{ err error }

func (e *sourceError) Error() string { return e.err.Error() }
func (e *sourceError) Unwrap() error { return e.err }

// tracked passes reads on and marks errors.
type tracked struct{ r io.Reader }

func (t tracked) Read(p []byte) (int, error) {
	n, err := t.r.Read(p)
	if err != nil && err != io.EOF {
		err = &sourceError{err}
	}
	return n, err
}

var gzipMagic = []byte{0x1f, 0x8b}

func isGzip(head []byte) bool {
	return len(head) >= 2 && head[0] == gzipMagic[0] && head[1] == gzipMagic[1]
}

// unpacked gives the content of src: itself, or what its gzip members hold. Failures of
// the gzip container are refusals, and more than max bytes are one too.
type unpacked struct {
	r      io.Reader
	packed bool
	left   int64
	max    int64
	err    error // given again by each later read
}

func newUnpacked(src io.Reader, max int64) (*unpacked, error) {
	in := bufio.NewReaderSize(tracked{src}, 64<<10)
	u := &unpacked{r: in, left: max, max: max}
	head, err := in.Peek(2)
	if err != nil && err != io.EOF {
		return nil, err
	}
	if isGzip(head) {
		u.packed = true
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, gzipError(err)
		}
		u.r = z
	}
	return u, nil
}

func (u *unpacked) Read(p []byte) (int, error) {
	if u.err != nil {
		return 0, u.err
	}
	n, err := u.r.Read(p)
	if err != nil && err != io.EOF && u.packed {
		err = gzipError(err)
	}
	if u.left -= int64(n); u.left < 0 {
		n += int(u.left)
		err = parsers.Refuse(CodeLimitBytes, parsers.Place{}, "more than %d bytes of content", u.max)
	}
	u.err = err
	return n, err
}

func gzipError(err error) error {
	var failed *sourceError
	switch {
	case errors.As(err, &failed):
		return err
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return parsers.Refuse(CodeGzip, parsers.Place{}, "the gzip data is cut")
	case errors.Is(err, gzip.ErrChecksum):
		return parsers.Refuse(CodeGzip, parsers.Place{}, "the gzip data fails its checksum")
	case errors.Is(err, gzip.ErrHeader):
		return parsers.Refuse(CodeGzip, parsers.Place{}, "bytes that are no gzip member")
	}
	return parsers.Refuse(CodeGzip, parsers.Place{}, "the gzip data is damaged: %v", err)
}
