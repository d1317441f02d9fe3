// Package compressed opens content that an exporter or a courier has compressed: gzip,
// bzip2 and zip, known by their first bytes and never by a name. A member of an archive
// is read as a stream; nothing is ever written under the name that the archive gives it.
package compressed

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"underbond/parsers"
)

// Kind is how content is compressed.
type Kind string

const (
	Plain Kind = "plain"
	Gzip  Kind = "gzip"
	Bzip2 Kind = "bzip2"
	Zip   Kind = "zip"
)

// Codes of refusals.
const (
	CodeCut          = "compressed-cut"           // the end of the compressed data is not there
	CodeDamaged      = "compressed-damaged"       // a checksum or the structure is wrong
	CodeRatio        = "compressed-ratio"         // far more comes out than any measurement gives
	CodeLimitBytes   = "compressed-limit-bytes"   // more comes out than the limit of bytes
	CodeLimitMembers = "compressed-limit-members" // the archive has too many members
	CodeNested       = "compressed-nested"        // what comes out is compressed again
	CodeMethod       = "compressed-method"        // encrypted, or by a method that is not read
	CodeName         = "compressed-name"          // a member's name leads out of the archive
	CodeDuplicate    = "compressed-duplicate"     // two members have one name
	CodeLink         = "compressed-link"          // a member is a link or a device
	CodeOverlap      = "compressed-overlap"       // members share bytes
	CodeEmpty        = "compressed-empty"         // the archive has no member with data
)

const (
	// maxRatio bounds decompressed to compressed size, whatever Limits.InflateRatio allows
	// for one array: text of instruments gives 3 to 50, deflate can give 1032.
	maxRatio = 500
	// freeBytes may come out of any content whatever its ratio.
	freeBytes = 8 << 20
	// maxMembers bounds the members of an archive, folders among them.
	maxMembers = 4096
)

// Content is opened content. It reads from the io.ReaderAt that it was opened on, which
// must not change meanwhile.
type Content struct {
	Kind    Kind
	Members []*Member // one or more, in the order of the archive
}

// Member is one piece of data: the whole content, or a member of an archive. It can be
// opened any number of times.
type Member struct {
	// Name is the member's name in an archive, made safe to show; names stay different.
	// It is empty for content that is no archive.
	Name string

	kind   Kind
	src    *source
	size   int64 // plain: of the content
	limits parsers.Limits
	packed int64 // compressed size
	open   func() (io.ReadCloser, error)
	passed *passage
}

// Open looks at the first bytes of r and gives what they say is there. Of an archive it
// reads the directory; other compressed data is looked at only when a member is read.
//
// Errors: *parsers.Refusal when the content cannot be trusted, with one of the codes of
// this package; any other error comes from r.
func Open(r io.ReaderAt, size int64, limits parsers.Limits) (*Content, error) {
	limits = limits.WithDefaults()
	src := &source{r: r}
	head := make([]byte, min(size, magicBytes))
	n, err := src.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the first bytes: %w", err)
	}
	kind := kindOf(head[:n])
	if kind == Zip {
		return openZip(src, size, limits)
	}
	m := &Member{kind: kind, src: src, size: size, limits: limits, packed: size}
	m.open = func() (io.ReadCloser, error) { return m.stream(io.NewSectionReader(src, 0, size)) }
	return &Content{Kind: kind, Members: []*Member{m}}, nil
}

// Compressed reports that what the readers see is not the bytes as they are.
func (c *Content) Compressed() bool { return c.Kind != Plain }

// IsCut reports that err says that the end of the compressed data is not there, as in a
// file that is still being written.
func IsCut(err error) bool {
	var refusal *parsers.Refusal
	return errors.As(err, &refusal) && refusal.Code == CodeCut
}

// magicBytes is how much of the head is needed: a tar header says what it is at byte 257.
const magicBytes = 512

var (
	gzipMagic = []byte{0x1f, 0x8b}
	zipMagics = [][]byte{[]byte("PK\x03\x04"), []byte("PK\x05\x06"), []byte("PK\x07\x08")}
	// A stream of bzip2 starts with BZh, the block size and the magic of a block or of the end.
	bzip2Blocks = [][]byte{{0x31, 0x41, 0x59, 0x26, 0x53, 0x59}, {0x17, 0x72, 0x45, 0x38, 0x50, 0x90}}
)

func kindOf(head []byte) Kind {
	if bytes.HasPrefix(head, gzipMagic) {
		return Gzip
	}
	for _, magic := range zipMagics {
		if bytes.HasPrefix(head, magic) {
			return Zip
		}
	}
	if len(head) >= 10 && string(head[:3]) == "BZh" && head[3] >= '1' && head[3] <= '9' {
		for _, block := range bzip2Blocks {
			if bytes.Equal(head[4:10], block) {
				return Bzip2
			}
		}
	}
	return Plain
}

// isArchive reports that decompressed data is compressed again or holds many files.
func isArchive(head []byte) bool {
	return kindOf(head) != Plain || len(head) > 262 && string(head[257:262]) == "ustar"
}

// source marks errors of the caller's reader, which say nothing about the content.
type source struct{ r io.ReaderAt }

type sourceError struct{ err error }

func (e *sourceError) Error() string { return e.err.Error() }
func (e *sourceError) Unwrap() error { return e.err }

var errOutside = errors.New("a place before the content's start")

// ReadAt implements io.ReaderAt.
func (s *source) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 {
		return 0, errOutside // where the content itself leads, not an error of its source
	}
	n, err := s.r.ReadAt(p, off)
	if err != nil && err != io.EOF {
		err = &sourceError{err}
	}
	return n, err
}
