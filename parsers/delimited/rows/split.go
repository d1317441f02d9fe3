package rows

import (
	"bytes"
	"fmt"
	"unicode/utf8"
)

// split cuts s.row.Raw into cells.
func (s *Scanner) split() *Fault {
	r := &s.row
	r.Cells = r.Cells[:0]
	raw := r.Raw
	if i := bytes.IndexByte(raw, 0); i >= 0 {
		return s.fault(CodeNUL, i, "a NUL character; the text may be UTF-16 or binary")
	}
	if !utf8.Valid(raw) {
		i := 0
		for i < len(raw) {
			c, size := utf8.DecodeRune(raw[i:])
			if c == utf8.RuneError && size == 1 {
				break
			}
			i += size
		}
		return s.fault(CodeEncoding, i, "byte 0x%02X is not valid UTF-8", raw[i])
	}
	for i := 0; ; {
		k := bytes.IndexByte(raw[i:], '\r')
		if k < 0 {
			break
		}
		i += k + 1
		if i == len(raw) || raw[i] != '\n' {
			return s.fault(CodeLineEnd, i-1, "a carriage return without a line feed")
		}
	}
	if r.Plain = s.opt.Unquoted || bytes.IndexByte(raw, '"') < 0; r.Plain {
		for {
			i := bytes.IndexByte(raw, s.opt.Delimiter)
			if i < 0 {
				r.Cells = append(r.Cells, raw)
				return nil
			}
			r.Cells = append(r.Cells, raw[:i])
			raw = raw[i+1:]
		}
	}
	return s.splitQuoted()
}

func (s *Scanner) splitQuoted() *Fault {
	r, raw := &s.row, s.row.Raw
	if cap(s.plain) < len(raw) {
		s.plain = make([]byte, 0, 2*len(raw))
	}
	s.plain = s.plain[:0]
	for i := 0; ; i++ {
		if i >= len(raw) || raw[i] != '"' {
			k := bytes.IndexByte(raw[i:], s.opt.Delimiter)
			last := k < 0
			if last {
				k = len(raw) - i
			}
			cell := raw[i : i+k]
			if q := bytes.IndexByte(cell, '"'); q >= 0 {
				return s.fault(CodeQuote, i+q, "a quote inside a cell that does not begin with one")
			}
			r.Cells = append(r.Cells, cell)
			if last {
				return nil
			}
			i += k
			continue
		}
		end, fault := s.quoted(i)
		if fault != nil {
			return fault
		}
		if end == len(raw) {
			return nil
		}
		if raw[end] != s.opt.Delimiter {
			return s.fault(CodeQuote, end, "a character after the closing quote of a cell")
		}
		i = end
	}
}

// quoted appends the cell whose opening quote is at i and gives the place behind its closing quote.
func (s *Scanner) quoted(i int) (end int, fault *Fault) {
	raw := s.row.Raw
	from, begin := i+1, len(s.plain)
	for at := from; ; {
		q := bytes.IndexByte(raw[at:], '"')
		if q < 0 {
			f := s.fault(CodeQuote, i, "a quote that is never closed")
			f.unclosed = true
			return 0, f
		}
		at += q + 1
		if at == len(raw) || raw[at] != '"' {
			cell := raw[from : at-1]
			if len(s.plain) > begin {
				s.plain = append(s.plain, cell...)
				cell = s.plain[begin:]
			}
			s.row.Cells = append(s.row.Cells, cell)
			return at, nil
		}
		s.plain = append(s.plain, raw[from:at]...)
		at++
		from = at
	}
}

// fault makes a fault at byte i of the row.
func (s *Scanner) fault(code string, i int, format string, args ...any) *Fault {
	before := s.row.Raw[:i]
	line := s.row.Line + bytes.Count(before, []byte{'\n'})
	tail := before[bytes.LastIndexByte(before, '\n')+1:]
	return &Fault{Code: code, Line: line, Column: utf8.RuneCount(tail) + 1, Cell: len(s.row.Cells) + 1, Message: fmt.Sprintf(format, args...)}
}
