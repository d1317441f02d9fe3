// Package rows splits delimited UTF-8 text into rows of cells. It follows RFC 4180
// strictly and keeps places: what a lenient reader would repair is a fault here,
// because a repaired export can hide a lost or shifted value.
package rows

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// Codes of faults.
const (
	CodeQuote    = "quote"    // unclosed, or a quote where none may be
	CodeLineEnd  = "line-end" // lone carriage return, or mixed line ends
	CodeNUL      = "nul"      // NUL character
	CodeEncoding = "encoding" // not UTF-8
	CodeTooLong  = "too-long" // row longer than allowed
)

// Fault says what is wrong with the text and where. Line and Column (in characters)
// and Cell count from 1.
type Fault struct {
	Code               string
	Line, Column, Cell int
	Message            string
	unclosed           bool
}

// Error implements error.
func (f *Fault) Error() string {
	return fmt.Sprintf("line %d, column %d: %s", f.Line, f.Column, f.Message)
}

// Options of a scanner.
type Options struct {
	Delimiter byte // an ASCII character
	// Unquoted takes the double quote as an ordinary character.
	Unquoted bool
	MaxRow   int // bytes of one row; 0 is 16 MiB
}

// Row is one row. Its slices are valid until the next call of Next.
type Row struct {
	Line  int      // where it begins, from 1
	Raw   []byte   // as written, without its line end
	Cells [][]byte // without enclosing quotes
	// Ended tells that a line end follows; only the last row can be without.
	Ended bool
	// Plain tells that no cell was in quotes: the cells lie in Raw, one delimiter apart.
	Plain bool

	opt *Options
}

// Blank tells whether nothing is written in the row.
func (r *Row) Blank() bool { return len(r.Raw) == 0 }

// Place is where a cell (from 0) begins: line and column in characters, from 1.
func (r *Row) Place(cell int) (line, column int) {
	line, column = r.Line, 1
	seen, quoted := 0, false
	for _, c := range string(r.Raw) {
		if seen == cell {
			break
		}
		switch {
		case c == '"' && !r.opt.Unquoted:
			quoted = !quoted
		case c == rune(r.opt.Delimiter) && !quoted:
			seen++
		}
		column++
		if c == '\n' {
			line, column = line+1, 1
		}
	}
	return line, column
}

// Scanner reads rows from a source. A byte order mark is not its business: the
// source begins with the first character.
type Scanner struct {
	src        io.Reader
	opt        Options
	buf        []byte
	start, end int
	srcErr     error
	line       int
	crlf, seen bool // the line end in use, once seen
	row        Row
	plain      []byte // cells that had doubled quotes
}

// New makes a scanner over src.
func New(src io.Reader, opt Options) *Scanner {
	if opt.MaxRow <= 0 {
		opt.MaxRow = 16 << 20
	}
	s := &Scanner{src: src, opt: opt, buf: make([]byte, min(64<<10, opt.MaxRow+2)), line: 1}
	s.row.opt = &s.opt
	return s
}

// Line is the line where the next row begins.
func (s *Scanner) Line() int { return s.line }

// Next gives the next row, blank ones too. It ends with io.EOF, a *Fault, or the
// error of the source.
func (s *Scanner) Next() (*Row, error) {
	row, err := s.next()
	var f *Fault
	if errors.As(err, &f) {
		// After a fault there is no way on.
		s.start, s.end, s.srcErr = 0, 0, err
	}
	return row, err
}

func (s *Scanner) next() (*Row, error) {
	// Lines of the row found so far end at scanned; up to looked there is no further line end.
	scanned, looked, quotes, lines := 0, 0, 0, 0
	for {
		window := s.buf[s.start:s.end]
		i := bytes.IndexByte(window[looked:], '\n')
		if i < 0 {
			looked = len(window)
			more, err := s.fill()
			if err != nil {
				return nil, err
			}
			if more {
				continue
			}
			if len(s.buf[s.start:s.end]) == 0 {
				return nil, s.srcErr
			}
			return s.take(s.end-s.start, 0, lines)
		}
		if !s.opt.Unquoted {
			quotes += bytes.Count(window[scanned:looked+i], quote)
		}
		scanned = looked + i + 1
		looked = scanned
		lines++
		if quotes%2 == 0 {
			return s.take(scanned, 1, lines)
		}
		if lines == 1 {
			// A stray quote would swallow all rows up to the next one: look before reading on.
			s.row.Line, s.row.Raw = s.line, window[:scanned]
			if err := s.split(); err != nil && !err.unclosed {
				return nil, err
			}
		}
	}
}

var quote = []byte{'"'}

// fill reads more bytes behind the window. It tells false at the end of the source.
func (s *Scanner) fill() (bool, error) {
	if s.srcErr != nil {
		if s.srcErr == io.EOF {
			return false, nil
		}
		return false, s.srcErr
	}
	if s.start > 0 {
		copy(s.buf, s.buf[s.start:s.end])
		s.start, s.end = 0, s.end-s.start
	}
	if s.end == len(s.buf) {
		if s.end > s.opt.MaxRow {
			return false, s.tooLong()
		}
		s.buf = append(s.buf, make([]byte, min(len(s.buf), s.opt.MaxRow+2-len(s.buf)))...)
	}
	for range 100 {
		n, err := s.src.Read(s.buf[s.end:])
		s.end += n
		s.srcErr = err
		if n > 0 {
			return true, nil
		}
		if err == io.EOF {
			return false, nil
		}
		if err != nil {
			return false, err
		}
	}
	return false, io.ErrNoProgress
}

// tooLong is the fault of an overlong row: a stray quote, if there is one, explains it better.
func (s *Scanner) tooLong() error {
	s.row.Line, s.row.Raw = s.line, s.buf[s.start:s.end]
	if err := s.split(); err != nil && err.Code == CodeQuote {
		return err
	}
	return &Fault{Code: CodeTooLong, Line: s.line, Column: 1, Cell: 1, Message: fmt.Sprintf("the row is longer than %d bytes", s.opt.MaxRow)}
}

// take makes a row of the next n bytes, the last ended of which are its line feed.
func (s *Scanner) take(n, ended, lines int) (*Row, error) {
	r := &s.row
	r.Line, r.Raw, r.Ended = s.line, s.buf[s.start:s.start+n-ended], ended > 0
	if ended > 0 {
		crlf := len(r.Raw) > 0 && r.Raw[len(r.Raw)-1] == '\r'
		if crlf {
			r.Raw = r.Raw[:len(r.Raw)-1]
		}
		if s.seen && crlf != s.crlf {
			was, is := "line feed", "carriage return and line feed"
			if s.crlf {
				was, is = is, was
			}
			line, column := r.endPlace()
			return nil, &Fault{Code: CodeLineEnd, Line: line, Column: column, Cell: 1,
				Message: fmt.Sprintf("the line ends with %s, the lines before it with %s", is, was)}
		}
		s.crlf, s.seen = crlf, true
	}
	if len(r.Raw) > s.opt.MaxRow {
		return nil, s.tooLong()
	}
	if err := s.split(); err != nil {
		return nil, err
	}
	s.start += n
	s.line += lines
	return r, nil
}

// endPlace is the place behind the last character of the row.
func (r *Row) endPlace() (line, column int) {
	tail := r.Raw[bytes.LastIndexByte(r.Raw, '\n')+1:]
	return r.Line + bytes.Count(r.Raw, []byte{'\n'}), utf8.RuneCount(tail) + 1
}
