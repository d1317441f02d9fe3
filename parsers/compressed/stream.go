package compressed

import (
	"archive/zip"
	"bufio"
	"compress/bzip2"
	"errors"
	"io"

	"github.com/klauspost/compress/gzip"

	"underbond/parsers"
)

// Open gives the member's data from its start. Reading ends with io.EOF only when the
// compressed data ended where it should and passed its checks; trouble with it is a
// *parsers.Refusal that says how far the data went.
func (m *Member) Open() (io.ReadCloser, error) { return m.open() }

// stream decompresses in, the bytes of the member.
func (m *Member) stream(in *io.SectionReader) (io.ReadCloser, error) {
	if m.kind == Plain {
		return plainStream{in}, nil
	}
	counted := &counter{r: in}
	s := &stream{m: m, packed: counted}
	buffered := bufio.NewReaderSize(counted, 64<<10)
	switch m.kind {
	case Gzip:
		z, err := gzip.NewReader(buffered)
		if err != nil {
			return nil, s.wrong(err)
		}
		s.r = z
	case Bzip2:
		s.r = bzip2.NewReader(buffered)
	}
	return s, nil
}

// plainStream is the content as it is, for reading at any place too.
type plainStream struct{ *io.SectionReader }

// Close implements io.Closer.
func (plainStream) Close() error { return nil }

// counter counts the compressed bytes taken.
type counter struct {
	r io.Reader
	n int64
}

// Read implements io.Reader.
func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// stream is decompressed data within its limits.
type stream struct {
	m      *Member
	r      io.Reader
	packed *counter // nil: the compressed size is m.packed
	close  func() error
	n      int64 // given so far
	head   [magicBytes]byte
	err    error // given again by each later read
}

// Read implements io.Reader.
func (s *stream) Read(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.r.Read(p)
	if s.n < magicBytes {
		copy(s.head[s.n:], p[:n])
	}
	before := s.n
	s.n += int64(n)
	switch {
	case err != nil && err != io.EOF:
		err = s.wrong(err)
	case before < magicBytes && (s.n >= magicBytes || err == io.EOF) && isArchive(s.head[:min(s.n, magicBytes)]):
		n, err = 0, s.refuse(CodeNested, "what was compressed is compressed or an archive itself; export the data files alone")
	case s.n > s.m.limits.TotalBytes:
		n, err = 0, s.refuse(CodeLimitBytes, "more than %d bytes come out", s.m.limits.TotalBytes)
	case s.n > freeBytes && s.n/ratio(s.m.limits) > s.taken():
		n, err = 0, s.refuse(CodeRatio, "%d bytes come out of %d; no measurement is that monotonous", s.n, s.taken())
	}
	s.err = err
	return n, err
}

func ratio(limits parsers.Limits) int64 { return int64(min(limits.InflateRatio, maxRatio)) }

// taken is the compressed size so far.
func (s *stream) taken() int64 {
	if s.packed == nil {
		return s.m.packed
	}
	return s.packed.n
}

// Close implements io.Closer.
func (s *stream) Close() error {
	if s.close == nil {
		return nil
	}
	return s.close()
}

func (s *stream) refuse(code, format string, args ...any) error {
	return parsers.Refuse(code, parsers.Place{Offset: s.n, Element: s.m.Name}, format, args...)
}

// wrong turns an error of a decompressor into a refusal, and passes errors of the source on.
func (s *stream) wrong(err error) error {
	var failed *sourceError
	what := string(s.m.kind)
	switch {
	case errors.As(err, &failed):
		return failed.err
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		if s.m.kind == Zip {
			return s.refuse(CodeDamaged, "the archive's directory and the member's data disagree about its size")
		}
		return s.refuse(CodeCut, "the %s data is cut", what)
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, zip.ErrChecksum):
		return s.refuse(CodeDamaged, "the %s data fails its checksum", what)
	case errors.Is(err, gzip.ErrHeader):
		return s.refuse(CodeDamaged, "bytes that are no gzip member")
	case errors.Is(err, zip.ErrFormat):
		return s.refuse(CodeDamaged, "the member's data is not as the archive's directory says")
	}
	return s.refuse(CodeDamaged, "the %s data is damaged: %v", what, err)
}
