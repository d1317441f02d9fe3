package mzml

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"underbond/parsers"
)

// EndProof implements parsers.Reader: the proof is the end tag of the root element with
// nothing but white space, comments and processing instructions after it. Compressed
// and UTF-16 content is decoded from its start for that; of other content only the
// first and the last bytes are read.
func (Reader) EndProof(r io.ReaderAt, size int64) (proof parsers.EndProof, why string, err error) {
	whole := func() io.Reader { return io.NewSectionReader(r, 0, size) }
	root, err := rootOf(context.Background(), whole())
	if err != nil {
		return failedProof(err)
	}
	if root.local != "mzML" && root.local != "indexedmzML" {
		return parsers.EndProofFailed, fmt.Sprintf("the root element is %.80q", root.qname), nil
	}
	var closed bool
	if root.packed || root.form >= formUTF16LE {
		closed, err = closesDecoded(whole(), root.qname)
	} else {
		closed, err = closesPlain(r, size, root.qname)
	}
	if err != nil {
		return failedProof(err)
	}
	if !closed {
		return parsers.EndProofFailed, fmt.Sprintf("the content does not end with </%.80s>", root.qname), nil
	}
	return parsers.EndProofHeld, "", nil
}

// failedProof tells a failure of the content from one of its reader.
func failedProof(err error) (parsers.EndProof, string, error) {
	var refusal *parsers.Refusal
	if errors.As(err, &refusal) {
		return parsers.EndProofFailed, refusal.Message, nil
	}
	return parsers.EndProofFailed, "", fmt.Errorf("look for the end of mzML content: %w", err)
}

// tailLength is how much of the end is looked at first.
const tailLength = 64 << 10

// closesPlain looks at the last bytes, and at more when they are all comment.
func closesPlain(r io.ReaderAt, size int64, qname string) (bool, error) {
	limit := min(size, int64(parsers.DefaultLimits.TokenBytes))
	for n := min(size, tailLength); ; n = min(limit, 2*n) {
		tail := make([]byte, n)
		if _, err := r.ReadAt(tail, size-n); err != nil && err != io.EOF {
			return false, err
		}
		closed, certain := closes(tail, qname)
		if certain || n >= limit {
			return closed, nil
		}
	}
}

// closesDecoded decodes everything and looks at the end.
func closesDecoded(src io.Reader, qname string) (bool, error) {
	d, err := newDecoded(src, parsers.DefaultLimits.TotalBytes)
	if err != nil {
		return false, err
	}
	buf := make([]byte, 2*tailLength)
	n := 0
	for {
		if n == len(buf) {
			n = copy(buf, buf[n-tailLength:])
		}
		m, err := d.Read(buf[n:])
		n += m
		if err == io.EOF {
			closed, _ := closes(buf[:n], qname)
			return closed, nil
		}
		if err != nil {
			return false, err
		}
	}
}

// closes reports whether tail ends with the end tag of qname. certain is false when tail
// holds nothing but what may follow that tag.
func closes(tail []byte, qname string) (closed, certain bool) {
	for {
		for len(tail) > 0 && isSpace(tail[len(tail)-1]) {
			tail = tail[:len(tail)-1]
		}
		open := ""
		switch {
		case len(tail) == 0:
			return false, false
		case bytes.HasSuffix(tail, []byte("-->")):
			open = "<!--"
		case bytes.HasSuffix(tail, []byte("?>")):
			open = "<?"
		case tail[len(tail)-1] != '>':
			return false, true
		default:
			i := bytes.LastIndexByte(tail, '<')
			if i < 0 {
				return false, len(tail) > len(qname)+1024
			}
			tag := tail[i : len(tail)-1]
			for isSpace(tag[len(tag)-1]) {
				tag = tag[:len(tag)-1]
			}
			return string(tag) == "</"+qname, true
		}
		i := bytes.LastIndex(tail, []byte(open))
		if i < 0 {
			return false, false
		}
		tail = tail[:i]
	}
}
