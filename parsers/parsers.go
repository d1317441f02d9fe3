// Package parsers holds what all instrument export formats share: the header of
// an acquisition, the signals that it carries, located problems, resource
// limits, and the contract that every reader keeps.
//
// The package is part of the pure core: bytes in, values out. It knows no
// database, no clock and no log, and it imports nothing of the project.
package parsers

import (
	"context"
	"io"
)

// Format names, stable across versions: they are stored and shown.
const (
	FormatJCAMPDX   = "jcamp-dx"
	FormatMzML      = "mzml"
	FormatDelimited = "delimited"
)

// Guess says how sure a reader is that content is of its format, and why.
type Guess struct {
	Format string `json:"format"`
	// Confidence is 0 (not this format) to 100 (certain).
	Confidence int    `json:"confidence"`
	Reason     string `json:"reason"`
}

// EndProof says whether the content proves that it is complete.
type EndProof string

const (
	// EndProofHeld: the format's end mark is there and nothing follows it.
	EndProofHeld EndProof = "held"
	// EndProofFailed: the format has an end mark and it is not there.
	EndProofFailed EndProof = "failed"
	// EndProofNone: the format (or profile) has no end mark to look for.
	EndProofNone EndProof = "none"
)

// Reader turns the bytes of one format into acquisitions.
//
// Contract, checked by the shared conformance tests:
//   - Read may be called any number of times and from several goroutines; the
//     same bytes and options give the same calls to the sink, byte for byte.
//   - Read does not close src. Memory is bounded by opt.Limits, never by a count
//     that the content declares.
//   - What went to the sink before Read returned an error must be thrown away by
//     the caller: a refused file has no acquisitions.
//   - A *Refusal error means that the content cannot be trusted. Any other error
//     comes from src, from the sink or from ctx and says nothing about the content.
type Reader interface {
	// Format is the reader's format name.
	Format() string
	// Sniff judges the first bytes of some content (up to SniffLength).
	Sniff(head []byte) Guess
	// EndProof looks for the format's end mark. why explains a failed proof.
	EndProof(r io.ReaderAt, size int64) (proof EndProof, why string, err error)
	// Read parses src and gives acquisitions to sink in file order. The problems
	// returned beside a nil error are all warnings.
	Read(ctx context.Context, src io.Reader, opt Options, sink Sink) ([]Problem, error)
}

// SniffLength is how many leading bytes Sniff is given, when there are so many.
const SniffLength = 64 << 10

// Sink receives what a reader finds. Calls come from one goroutine, in file order:
// Begin, any number of Signal, End, and again for the next acquisition.
type Sink interface {
	Begin(Header) error
	// Signal hands over a signal of the acquisition begun last. The reader may use
	// the slices again after the call: copy what must be kept.
	Signal(Signal) error
	End(Trailer) error
}

// Trailer closes an acquisition.
type Trailer struct {
	// Digest identifies the acquisition's own bytes and header within the file, so
	// that one changed number in a file of many records revises one acquisition.
	// Zero when the file holds a single acquisition: the file's hash serves.
	Digest [32]byte
	// Problems are the warnings that concern this acquisition.
	Problems []Problem
}

// Options steer a reader.
type Options struct {
	Limits Limits
	// Encoding is the configured code page for text that is neither marked nor
	// valid UTF-8, as an IANA name such as "windows-1252". Empty: such text is refused.
	Encoding string
}

// Limits bound what a reader will take. Zero fields mean the default.
type Limits struct {
	TotalBytes   int64 // bytes read after decompression
	Points       int   // points in one signal
	Signals      int   // signals in one file
	Acquisitions int   // acquisitions in one file
	TokenBytes   int   // one line, tag, attribute value or cell
	Depth        int   // nesting of elements or blocks
	Attributes   int   // attributes of one element, columns of one row
	InflateRatio int   // decompressed to compressed size of one array
}

// DefaultLimits are generous for instrument exports and small for an attacker.
var DefaultLimits = Limits{
	TotalBytes:   16 << 30,
	Points:       64 << 20,
	Signals:      4 << 20,
	Acquisitions: 1 << 20,
	TokenBytes:   16 << 20,
	Depth:        64,
	Attributes:   4096,
	InflateRatio: 2000,
}

// WithDefaults fills the zero fields of l from DefaultLimits.
func (l Limits) WithDefaults() Limits {
	d := DefaultLimits
	set := func(v *int, def int) {
		if *v == 0 {
			*v = def
		}
	}
	if l.TotalBytes == 0 {
		l.TotalBytes = d.TotalBytes
	}
	set(&l.Points, d.Points)
	set(&l.Signals, d.Signals)
	set(&l.Acquisitions, d.Acquisitions)
	set(&l.TokenBytes, d.TokenBytes)
	set(&l.Depth, d.Depth)
	set(&l.Attributes, d.Attributes)
	set(&l.InflateRatio, d.InflateRatio)
	return l
}
