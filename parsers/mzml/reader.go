package mzml

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"underbond/parsers"
)

// Reader reads mzML. The zero value is ready; it keeps nothing between calls.
type Reader struct{}

var _ parsers.Reader = Reader{}

// namespace is that of mzML 1.x.
const namespace = "http://psi.hupo.org/ms/mzml"

// Format implements parsers.Reader.
func (Reader) Format() string { return parsers.FormatMzML }

// Sniff implements parsers.Reader. It looks for the root element, inside gzip too.
func (Reader) Sniff(head []byte) parsers.Guess {
	g := parsers.Guess{Format: parsers.FormatMzML}
	root, err := rootOf(context.Background(), bytes.NewReader(head))
	switch {
	case err != nil:
		g.Reason = "no XML root element in the first bytes"
	case root.local != "mzML" && root.local != "indexedmzML":
		g.Reason = fmt.Sprintf("the root element is %.80q", root.local)
	case root.ns == namespace:
		g.Confidence, g.Reason = 100, "the root element is "+root.local
	default:
		g.Confidence, g.Reason = 90, "the root element is "+root.local+", in another namespace than that of version 1"
	}
	return g
}

type root struct {
	qname, local, ns string
	form             form
	packed           bool
}

// rootOf reads as far as the root element's start tag.
func rootOf(ctx context.Context, src io.Reader) (root, error) {
	lim := parsers.Limits{}.WithDefaults()
	d, err := newDecoded(src, lim.TotalBytes)
	if err != nil {
		return root{}, err
	}
	s := newScanner(ctx, d, lim)
	s.buf = s.buf[:4096]
	if _, err := s.next(); err != nil {
		return root{}, err
	}
	return root{string(s.qname), string(s.local), s.ns, d.form, d.packed}, nil
}

// Read implements parsers.Reader. A file is one acquisition: its title is the run's id,
// its version the one stated, its start the run's time stamp. Chromatogram times and scan
// times are in seconds when the content gives a unit.
//
// Options.Encoding is not used: XML without a declaration is UTF-8. Remarks on the file
// (checksum, version, namespace) are returned; those on the run and its signals
// are in the trailer. After twenty remarks of one kind the rest are counted.
func (Reader) Read(ctx context.Context, src io.Reader, opt parsers.Options, sink parsers.Sink) ([]parsers.Problem, error) {
	lim := opt.Limits.WithDefaults()
	d, err := newDecoded(src, lim.TotalBytes)
	if err != nil {
		if _, refused := err.(*parsers.Refusal); refused {
			return nil, err
		}
		return nil, fmt.Errorf("read mzML content: %w", err)
	}
	r := newReading(newScanner(ctx, d, lim), lim, sink)
	defer r.pipe.close()
	if err := r.document(); err != nil {
		return nil, err
	}
	return r.file.all(), nil
}
