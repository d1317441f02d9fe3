package delimited

import (
	"bytes"
	"context"
	"crypto/sha256"
	"hash"
	"io"
	"slices"
	"strconv"
	"strings"

	"underbond/parsers"
	"underbond/parsers/delimited/rows"
)

// session is one call of Read.
type session struct {
	*reader
	limits   parsers.Limits
	sink     parsers.Sink
	scanner  *rows.Scanner
	checked  bool // the scanner itself has checked the encoding
	warnings []parsers.Problem

	// From preamble and header row.
	fields     []parsers.Field
	facts      map[string]string // meaning to text, of the preamble
	headDigest hash.Hash
	headSum    [sha256.Size]byte
	width      int   // cells of a row
	cellOf     []int // profile column to cell
	numeric    []bool
	columnsOf  map[string][]int // meaning to profile columns
	columns    []parsers.Column
	// Profile columns that make the key, and those that the rows of an acquisition share.
	keyColumns, factColumns []int
	analyte, replicate      int // profile columns of these meanings, or -1

	// From the rows.
	seen   map[string]int // native key to the line where it began
	record record
	starts []int // of the cells in a row's text
	count  int   // rows read
	footer bool
}

// next gives the next row that is neither blank nor a comment.
func (s *session) next() (*rows.Row, error) {
	for {
		row, err := s.scanner.Next()
		if err != nil {
			return nil, refusalOf(err)
		}
		if !s.checked && bytes.ContainsRune(row.Raw, '\uFFFD') {
			bad := slices.IndexFunc(row.Cells, func(cell []byte) bool { return bytes.ContainsRune(cell, '\uFFFD') })
			return nil, parsers.Refuse("delimited-encoding", parsers.Place{Line: row.Line, Column: bad + 1}, "a character that is not %s", s.profile.Encoding)
		}
		if s.skipped(row) {
			continue
		}
		return row, nil
	}
}

// skipped tells rows in which nothing is written and comments.
func (r *reader) skipped(row *rows.Row) bool {
	if c := r.profile.Comment; c != "" && bytes.HasPrefix(row.Raw, []byte(c)) {
		return true
	}
	for _, cell := range row.Cells {
		if len(bytes.TrimSpace(cell)) > 0 {
			return false
		}
	}
	return true
}

// data reads the rows behind the header row.
func (s *session) data(ctx context.Context) error {
	ended, last := true, 0
	for {
		row, err := s.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		ended, last = row.Ended, len(row.Cells)
		if s.footer {
			return parsers.Refuse("delimited-footer", parsers.Place{Line: row.Line}, "a row follows the footer %q", s.profile.Footer)
		}
		if s.profile.Footer != "" {
			if s.footer, err = s.isFooter(row); err != nil {
				return err
			}
			if s.footer {
				continue
			}
		}
		if !ended && s.profile.End == endNewline {
			break
		}
		if s.count++; s.count%1024 == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		if err := s.add(row); err != nil {
			return err
		}
	}
	line := s.scanner.Line()
	switch {
	case s.profile.Footer != "" && !s.footer:
		return parsers.Refuse("delimited-footer", parsers.Place{Line: line}, "the content ends without the footer %q", s.profile.Footer)
	case s.profile.End == endNewline && !ended:
		return parsers.Refuse("delimited-cut", parsers.Place{Line: line, Column: last}, "the last line has no line end: it may be cut")
	case s.count == 0:
		return parsers.Refuse("delimited-empty", parsers.Place{Line: line}, "no row follows the header row")
	}
	return s.flush()
}

// isFooter tells whether a row is the footer, and refuses one that counts other rows.
func (s *session) isFooter(row *rows.Row) (bool, error) {
	count, ok := matchFooter(s.profile, string(row.Raw))
	if !ok {
		return false, nil
	}
	if count != "" && count != strconv.Itoa(s.count) {
		return false, parsers.Refuse("delimited-footer", parsers.Place{Line: row.Line}, "the footer counts %s rows, and there are %d", count, s.count)
	}
	return true, nil
}

// matchFooter compares a line with the footer. Delimiters that pad the line do not
// matter. count is what stands in the place of {rows}.
func matchFooter(p *Profile, line string) (count string, ok bool) {
	line = strings.TrimRight(line, " "+p.Delimiter)
	before, after, counted := strings.Cut(strings.TrimRight(p.Footer, " "+p.Delimiter), footerRows)
	if !counted {
		return "", line == before
	}
	rest, ok := strings.CutPrefix(line, before)
	if !ok {
		return "", false
	}
	count, ok = strings.CutSuffix(rest, after)
	return count, ok && count != "" && strings.Trim(count, "0123456789") == ""
}
