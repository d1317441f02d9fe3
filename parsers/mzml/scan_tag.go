package mzml

import (
	"bytes"
	"slices"
)

// binding is a namespace declaration in force.
type binding struct{ prefix, uri string }

const xmlNamespace = "http://www.w3.org/XML/1998/namespace"

// startTag reads a start tag or an empty element from pos on.
func (s *scanner) startTag() error {
	if len(s.stack) == 0 && s.rootSeen {
		return s.syntax(s.pos, "a second root element")
	}
	if len(s.stack) >= s.lim.Depth {
		return s.fail(CodeLimitDepth, s.pos, "elements nested deeper than %d", s.lim.Depth)
	}
	for {
		length, err := s.parseTag()
		if err != nil {
			return err
		}
		if length > 0 {
			return s.openElement(length)
		}
		// The tag reaches past the buffer: read more and begin it again. The buffer at
		// least doubles each time, so a long tag is not read more than twice over.
		if !s.fill(s.lim.TokenBytes) {
			return s.cut()
		}
	}
}

// parseTag parses the tag at pos into qname and attrs. The length is 0 when the buffer
// ends before the tag does.
func (s *scanner) parseTag() (length int, err error) {
	b := s.buf[s.pos:s.end]
	s.attrs, s.scratch, s.selfEnd = s.attrs[:0], s.scratch[:0], false
	i := 1
	for i < len(b) && !isSpace(b[i]) && b[i] != '>' && b[i] != '/' {
		i++
	}
	if i == len(b) {
		return 0, nil
	}
	s.qname = b[1:i]
	if !isName(s.qname) {
		return 0, s.syntax(s.pos, "< that begins no tag")
	}
	for {
		spaced := false
		for i < len(b) && isSpace(b[i]) {
			i++
			spaced = true
		}
		if i == len(b) {
			return 0, nil
		}
		switch b[i] {
		case '>':
			return i + 1, nil
		case '/':
			if i+1 == len(b) {
				return 0, nil
			}
			if b[i+1] != '>' {
				return 0, s.syntax(s.pos+i, "/ inside the tag %s", s.qname)
			}
			s.selfEnd = true
			return i + 2, nil
		}
		if !spaced {
			return 0, s.syntax(s.pos+i, "no white space before an attribute of %s", s.qname)
		}
		n, err := s.parseAttr(b, i)
		if err != nil || n == 0 {
			return 0, err
		}
		i = n
	}
}

// parseAttr parses the attribute at b[i:] and gives the position after it, or 0 when b
// ends first.
func (s *scanner) parseAttr(b []byte, i int) (int, error) {
	from := i
	for i < len(b) && b[i] != '=' && b[i] != '>' && b[i] != '/' && b[i] != '<' && !isSpace(b[i]) {
		i++
	}
	name := b[from:i]
	for i < len(b) && isSpace(b[i]) {
		i++
	}
	if i == len(b) {
		return 0, nil
	}
	if !isName(name) {
		return 0, s.syntax(s.pos+from, "attribute without a name in %s", s.qname)
	}
	if b[i] != '=' {
		return 0, s.syntax(s.pos+i, "attribute %s without a value", name)
	}
	i++
	for i < len(b) && isSpace(b[i]) {
		i++
	}
	if i == len(b) {
		return 0, nil
	}
	quote := b[i]
	if quote != '"' && quote != '\'' {
		return 0, s.syntax(s.pos+i, "value of %s is not quoted", name)
	}
	i++
	n := bytes.IndexByte(b[i:], quote)
	if n < 0 {
		return 0, nil
	}
	value := b[i : i+n]
	plain := true
	for j, c := range value {
		switch {
		case c == '<':
			return 0, s.syntax(s.pos+i+j, "< inside the value of %s", name)
		case c == '&' || c < 0x20 || c >= 0x80:
			plain = false
		}
	}
	if !plain {
		if err := s.legal(s.pos+i, value); err != nil {
			return 0, err
		}
		var err error
		if value, err = s.unescape(value, s.pos+i, true); err != nil {
			return 0, err
		}
	}
	if len(s.attrs) >= s.lim.Attributes {
		return 0, s.fail(CodeLimitCount, s.pos, "more than %d attributes in %s", s.lim.Attributes, s.qname)
	}
	s.attrs = append(s.attrs, attr{name, value})
	return i + n + 1, nil
}

// openElement enters the element whose tag was just parsed.
func (s *scanner) openElement(length int) error {
	if err := s.uniqueAttrs(); err != nil {
		return err
	}
	e := element{name: len(s.names), bindings: len(s.bindings)}
	for _, a := range s.attrs {
		if err := s.bind(a); err != nil {
			return err
		}
	}
	for _, a := range s.attrs {
		if i := bytes.IndexByte(a.name, ':'); i >= 0 {
			if bytes.HasPrefix(a.name, []byte("xmlns:")) {
				continue
			}
			if _, ok := s.resolve(a.name[:i]); !ok || i == 0 || !isLocal(a.name[i+1:]) {
				return s.syntax(s.pos, "attribute %s has a prefix that is not declared", a.name)
			}
		}
	}
	s.local = s.qname
	var prefix []byte
	if i := bytes.IndexByte(s.qname, ':'); i >= 0 {
		prefix, s.local = s.qname[:i], s.qname[i+1:]
		e.prefix = i + 1
		if i == 0 || !isLocal(s.local) {
			return s.syntax(s.pos, "element name %s", s.qname)
		}
	}
	ns, ok := s.resolve(prefix)
	if !ok {
		return s.syntax(s.pos, "element %s has a prefix that is not declared", s.qname)
	}
	s.ns, e.ns = ns, ns
	s.names = append(s.names, s.qname...)
	s.stack = append(s.stack, e)
	s.rootSeen = true
	s.pos += length
	return nil
}

func isLocal(b []byte) bool { return isName(b) && bytes.IndexByte(b, ':') < 0 }

// bind takes up a namespace declaration.
func (s *scanner) bind(a attr) error {
	var prefix string
	switch {
	case string(a.name) == "xmlns":
	case bytes.HasPrefix(a.name, []byte("xmlns:")):
		prefix = string(a.name[len("xmlns:"):])
		if len(a.value) == 0 || prefix == "xmlns" || !isLocal([]byte(prefix)) || prefix == "xml" && string(a.value) != xmlNamespace {
			return s.syntax(s.pos, "namespace declaration %s", a.name)
		}
	default:
		return nil
	}
	s.bindings = append(s.bindings, binding{prefix, string(a.value)})
	return nil
}

func (s *scanner) resolve(prefix []byte) (uri string, ok bool) {
	for i := len(s.bindings) - 1; i >= 0; i-- {
		if b := &s.bindings[i]; b.prefix == string(prefix) {
			return b.uri, true
		}
	}
	if string(prefix) == "xml" {
		return xmlNamespace, true
	}
	return "", len(prefix) == 0
}

// uniqueAttrs refuses an attribute that is there twice.
func (s *scanner) uniqueAttrs() error {
	if len(s.attrs) > 16 {
		names := make([][]byte, len(s.attrs))
		for i, a := range s.attrs {
			names[i] = a.name
		}
		slices.SortFunc(names, bytes.Compare)
		for i := 1; i < len(names); i++ {
			if bytes.Equal(names[i-1], names[i]) {
				return s.syntax(s.pos, "attribute %s twice", names[i])
			}
		}
		return nil
	}
	for i, a := range s.attrs {
		for _, b := range s.attrs[:i] {
			if len(a.name) == len(b.name) && bytes.Equal(a.name, b.name) {
				return s.syntax(s.pos, "attribute %s twice", a.name)
			}
		}
	}
	return nil
}

// endTag reads an end tag and leaves its element.
func (s *scanner) endTag() error {
	i, found := s.find(">", 2, s.lim.TokenBytes)
	if !found {
		return s.cut()
	}
	name := s.buf[s.pos+2 : i]
	for len(name) > 0 && isSpace(name[len(name)-1]) {
		name = name[:len(name)-1]
	}
	if len(s.stack) == 0 {
		return s.syntax(s.pos, "end tag %.80q without a start", name)
	}
	open := s.names[s.stack[len(s.stack)-1].name:]
	if !bytes.Equal(name, open) {
		return s.syntax(s.pos, "end tag %.80q where %s is open", name, open)
	}
	s.pos = i + 1
	s.closeElement()
	return nil
}

// closeElement pops the innermost element; qname, local and ns name it.
func (s *scanner) closeElement() {
	e := s.stack[len(s.stack)-1]
	s.qname = s.names[e.name:]
	s.local = s.qname[e.prefix:]
	s.ns = e.ns
	s.names = s.names[:e.name]
	s.bindings = s.bindings[:e.bindings]
	s.stack = s.stack[:len(s.stack)-1]
}

// attr gives the value of an attribute of the start tag read last, nil when it is absent.
func (s *scanner) attr(name string) []byte {
	for i := range s.attrs {
		if string(s.attrs[i].name) == name {
			if v := s.attrs[i].value; v != nil {
				return v
			}
			return []byte{}
		}
	}
	return nil
}
