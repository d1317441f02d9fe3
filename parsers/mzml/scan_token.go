package mzml

import (
	"bytes"
	"strings"
)

// next reads the next token.
func (s *scanner) next() (tokenKind, error) {
	if s.err != nil {
		return tokenEOF, s.err
	}
	if s.selfEnd {
		s.selfEnd = false
		s.closeElement()
		return tokenEnd, nil
	}
	for {
		s.mark, s.tag = s.pos, s.pos
		if s.pos == s.end && !s.fill(s.lim.TokenBytes) {
			return tokenEOF, s.finish()
		}
		s.tag = s.pos
		if s.buf[s.pos] != '<' {
			skip, err := s.characters()
			if err != nil || !skip {
				return tokenText, err
			}
			continue
		}
		if !s.need(2) {
			return tokenEOF, s.cut()
		}
		switch s.buf[s.pos+1] {
		case '/':
			return tokenEnd, s.endTag()
		case '?':
			if err := s.instruction(); err != nil {
				return tokenEOF, err
			}
		case '!':
			isText, err := s.declaration()
			if err != nil || isText {
				return tokenText, err
			}
		default:
			return tokenStart, s.startTag()
		}
	}
}

// finish judges the end of the content.
func (s *scanner) finish() error {
	switch {
	case s.err != nil:
		return s.err
	case len(s.stack) > 0:
		return s.cut()
	case !s.rootSeen && s.base == 0 && s.end == 0:
		return s.fail(CodeEmpty, 0, "the content is empty")
	case !s.rootSeen:
		return s.fail(CodeTruncated, s.end, "the content ends before any element")
	}
	return nil
}

// textMax is how long character data may be.
func (s *scanner) textMax() int {
	if s.payload && s.payloadMax > s.lim.TokenBytes {
		return s.payloadMax
	}
	return s.lim.TokenBytes
}

// characters reads character data up to the next tag. skip is true when it is white
// space outside of the root element.
func (s *scanner) characters() (skip bool, err error) {
	i, found := s.find("<", 0, s.textMax())
	if !found {
		if s.err != nil {
			return false, s.err
		}
		i = s.end
	}
	raw := s.buf[s.pos:i]
	if len(s.stack) == 0 {
		for j, c := range raw {
			if !isSpace(c) {
				if s.rootSeen {
					return false, s.syntax(s.pos+j, "text after the end of the root element")
				}
				return false, s.syntax(s.pos+j, "text before the root element")
			}
		}
		s.pos = i
		return true, nil
	}
	if !found {
		return false, s.cut()
	}
	if j := bytes.IndexByte(raw, ']'); j >= 0 {
		if j = bytes.Index(raw, []byte("]]>")); j >= 0 {
			return false, s.syntax(s.pos+j, "]]> outside of a CDATA section")
		}
	}
	if !s.payload {
		if err := s.legal(s.pos, raw); err != nil {
			return false, err
		}
	}
	s.text = raw
	if bytes.IndexByte(raw, '&') >= 0 {
		s.scratch = s.scratch[:0]
		if s.text, err = s.unescape(raw, s.pos, false); err != nil {
			return false, err
		}
	}
	s.pos = i
	return false, nil
}

// legal checks the characters of b, which stands at pos in the buffer.
func (s *scanner) legal(pos int, b []byte) error {
	if i := badChar(b); i >= 0 {
		return s.illegal(pos+i, b[i])
	}
	return nil
}

func (s *scanner) illegal(pos int, c byte) error {
	if c >= 0x80 {
		return s.fail(CodeEncoding, pos, "byte %#02x is no part of a character in the encoding %s", c, s.src.encoding)
	}
	return s.syntax(pos, "control character %#02x", c)
}

// unescape appends b to scratch with its references replaced, and with line ends and,
// in attribute values, other white space normalised as XML asks.
func (s *scanner) unescape(b []byte, pos int, attribute bool) ([]byte, error) {
	from := len(s.scratch)
	for i := 0; i < len(b); i++ {
		c := b[i]
		switch {
		case c == '&':
			n := bytes.IndexByte(b[i:], ';')
			if n < 0 {
				return nil, s.syntax(pos+i, "& without a reference")
			}
			r, ok := reference(b[i+1 : i+n])
			if !ok {
				return nil, s.syntax(pos+i, "reference %.40q is not predefined", b[i:i+n+1])
			}
			s.scratch = append(s.scratch, string(r)...)
			i += n
		case c == '\r' && i+1 < len(b) && b[i+1] == '\n':
			continue
		case c == '\r' && !attribute:
			s.scratch = append(s.scratch, '\n')
		case attribute && c < 0x20:
			s.scratch = append(s.scratch, ' ')
		default:
			s.scratch = append(s.scratch, c)
		}
	}
	return s.scratch[from:], nil
}

// reference resolves the name between & and ;.
func reference(name []byte) (rune, bool) {
	switch string(name) {
	case "lt":
		return '<', true
	case "gt":
		return '>', true
	case "amp":
		return '&', true
	case "apos":
		return '\'', true
	case "quot":
		return '"', true
	}
	if len(name) < 2 || name[0] != '#' {
		return 0, false
	}
	digits, radix := name[1:], rune(10)
	if digits[0] == 'x' {
		digits, radix = digits[1:], 16
	}
	var r rune
	for _, c := range digits {
		var d rune
		switch {
		case c >= '0' && c <= '9':
			d = rune(c - '0')
		case radix == 16 && c >= 'a' && c <= 'f':
			d = rune(c-'a') + 10
		case radix == 16 && c >= 'A' && c <= 'F':
			d = rune(c-'A') + 10
		default:
			return 0, false
		}
		if r = r*radix + d; r > 0x10FFFF {
			return 0, false
		}
	}
	return r, len(digits) > 0 && isChar(r)
}

// declaration reads what begins with <!: a comment, a CDATA section (which is text) or
// a document type, which is refused because it can make a small file large and read
// other files.
func (s *scanner) declaration() (isText bool, err error) {
	const comment, section, doctype = "<!--", "<![CDATA[", "<!DOCTYPE"
	whole := s.need(len(doctype))
	if !whole && s.err != nil {
		return false, s.err
	}
	head := string(s.buf[s.pos:min(s.end, s.pos+len(doctype))])
	switch {
	case strings.HasPrefix(head, comment):
		return false, s.comment()
	case head == section:
	case head == doctype:
		return false, s.fail(CodeDoctype, s.pos, "a document type declaration is not accepted")
	case strings.HasPrefix(comment, head), strings.HasPrefix(section, head), strings.HasPrefix(doctype, head):
		return false, s.cut()
	default:
		return false, s.syntax(s.pos, "unknown markup %q", head)
	}
	if len(s.stack) == 0 {
		return false, s.syntax(s.pos, "CDATA section outside of the root element")
	}
	i, found := s.find("]]>", 9, s.textMax())
	if !found {
		return false, s.cut()
	}
	raw := s.buf[s.pos+9 : i]
	if err := s.legal(s.pos+9, raw); err != nil {
		return false, err
	}
	s.text, s.pos = raw, i+3
	return true, nil
}

func (s *scanner) comment() error {
	i, found := s.find("--", 4, s.lim.TokenBytes)
	if !found {
		return s.cut()
	}
	for s.end < i+3 {
		n := i - s.pos
		if !s.fill(s.lim.TokenBytes) {
			return s.cut()
		}
		i = s.pos + n
	}
	if s.buf[i+2] != '>' {
		return s.syntax(i, "-- inside a comment")
	}
	if err := s.legal(s.pos+4, s.buf[s.pos+4:i]); err != nil {
		return err
	}
	s.pos = i + 3
	return nil
}

// instruction reads a processing instruction. The XML declaration is one in form; its
// encoding was judged by the source.
func (s *scanner) instruction() error {
	i, found := s.find("?>", 2, s.lim.TokenBytes)
	if !found {
		return s.cut()
	}
	body := s.buf[s.pos+2 : i]
	if err := s.legal(s.pos+2, body); err != nil {
		return err
	}
	target := body
	for j, c := range body {
		if isSpace(c) {
			target = body[:j]
			break
		}
	}
	if !isName(target) || bytes.IndexByte(target, ':') >= 0 {
		return s.syntax(s.pos, "processing instruction without a name")
	}
	if bytes.EqualFold(target, []byte("xml")) {
		if s.base != 0 || s.pos != 0 {
			return s.syntax(s.pos, "XML declaration that is not at the start")
		}
		if why := checkDeclaration(body); why != "" {
			return s.syntax(s.pos, "XML declaration: %s", why)
		}
	}
	s.pos = i + 2
	return nil
}
