package delimited

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"underbond/parsers"
)

// tailBytes is how much of the end of a file is looked at for the end mark; no footer
// is longer.
const tailBytes = 64 << 10

// EndProof implements parsers.Reader. The end mark is the profile's footer. A line end
// at the end, which end: newline asks for, shows that the last row is whole and not
// that it is the last: its absence fails the proof and its presence proves nothing.
func (r *reader) EndProof(src io.ReaderAt, size int64) (parsers.EndProof, string, error) {
	if r.profile.Footer == "" && r.profile.End != endNewline {
		return parsers.EndProofNone, "", nil
	}
	if size == 0 {
		return parsers.EndProofFailed, "the file is empty", nil
	}
	head, err := window(src, 0, min(size, 3))
	if err != nil {
		return "", "", fmt.Errorf("look for the end mark: %w", err)
	}
	enc, _, refusal := settle(r.profile.Encoding, head)
	if refusal != nil {
		return parsers.EndProofFailed, refusal.Message, nil
	}
	unit := int64(unitBytes(enc))
	if size%unit != 0 {
		return parsers.EndProofFailed, "the file ends inside a character", nil
	}
	from := max(0, size-tailBytes)
	from -= from % unit
	raw, err := window(src, from, size-from)
	if err != nil {
		return "", "", fmt.Errorf("look for the end mark: %w", err)
	}
	tail, err := io.ReadAll(decoded(bytes.NewReader(raw), enc))
	if err != nil {
		return "", "", fmt.Errorf("decode the end of the file: %w", err)
	}
	if r.profile.End == endNewline {
		if bytes.HasSuffix(tail, []byte{'\n'}) {
			return parsers.EndProofNone, "", nil
		}
		return parsers.EndProofFailed, "the last line has no line end", nil
	}
	last := r.lastLine(string(tail))
	if _, ok := matchFooter(r.profile, last); ok {
		return parsers.EndProofHeld, "", nil
	}
	return parsers.EndProofFailed, fmt.Sprintf("the last line is %.80q, not the footer %q", last, r.profile.Footer), nil
}

// lastLine is the last line in which something is written.
func (r *reader) lastLine(text string) string {
	text = strings.TrimRight(text, " \r\n\t"+r.profile.Delimiter)
	text = text[strings.LastIndexByte(text, '\n')+1:]
	return strings.TrimPrefix(text, "\ufeff")
}

// window reads n bytes at an offset.
func window(src io.ReaderAt, from, n int64) ([]byte, error) {
	buf := make([]byte, n)
	got, err := src.ReadAt(buf, from)
	if int64(got) == n && errors.Is(err, io.EOF) {
		err = nil
	}
	return buf[:got], err
}
