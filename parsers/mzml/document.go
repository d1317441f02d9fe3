package mzml

import (
	"bytes"
	"crypto/sha1"
	"encoding/hex"
	"fmt"
	"strings"

	"underbond/parsers"
)

// reading is one call of Read.
type reading struct {
	s    *scanner
	lim  parsers.Limits
	sink parsers.Sink

	ns       string // namespace of the document's elements
	file     remarks
	run      remarks
	header   parsers.Header
	samples  []sample
	groups   map[string][]param
	interned map[string]string
	kept     int // bytes of header text kept

	runs        int
	began       bool
	listed      [2]bool // the lists of spectra and of chromatograms were there
	signalCount int
	item        *item // being read; nil outside of lists
	warned      map[remarkKind]int
	pieces      []byte // text that comments or CDATA sections divide
	pipe        pipeline
}

func newReading(s *scanner, lim parsers.Limits, sink parsers.Sink) *reading {
	return &reading{
		s: s, lim: lim, sink: sink, groups: map[string][]param{}, interned: map[string]string{},
		warned: map[remarkKind]int{}, run: remarks{passed: map[remarkKind]int{}}, pipe: pipeline{ratio: lim.InflateRatio},
	}
}

type sample struct{ id, name string }

// document reads the whole content.
func (r *reading) document() error {
	s := r.s
	s.sum = sha1.New()
	s.sum.Write(s.src.bom)
	if _, err := s.next(); err != nil {
		return err
	}
	var err error
	switch string(s.local) {
	case "mzML":
		s.sum = nil
		err = r.mzML()
	case "indexedmzML":
		err = r.wrapper()
	default:
		err = s.fail(CodeRoot, s.tag, "the root element is %.80q", s.qname)
	}
	if err != nil {
		return err
	}
	if _, err := s.next(); err != nil {
		return err
	}
	if err := r.sink.End(parsers.Trailer{Problems: r.run.all()}); err != nil {
		return fmt.Errorf("end of the mzML run: %w", err)
	}
	return nil
}

// wrapper reads indexedmzML. The index is passed over: it is often wrong.
func (r *reading) wrapper() error {
	s := r.s
	documents, checksums := 0, 0
	for {
		kind, err := s.next()
		if err != nil {
			return err
		}
		if kind == tokenEnd {
			break
		}
		if kind != tokenStart {
			continue
		}
		switch string(s.local) {
		case "mzML":
			if documents++; documents > 1 {
				return s.fail(CodeStructure, s.tag, "a second mzML element")
			}
			err = r.mzML()
		case "fileChecksum":
			checksums++
			err = r.checksum()
		default:
			err = r.skip()
		}
		if err != nil {
			return err
		}
	}
	if documents == 0 {
		return s.fail(CodeStructure, s.tag, "indexedmzML holds no mzML element")
	}
	if checksums == 0 {
		r.file.add(parsers.Warn(CodeChecksum, r.here(), "the wrapper has no checksum"))
	}
	return nil
}

// checksum compares the SHA-1 over everything up to and with its own start tag. A
// wrong one is only a warning: writers that put zeros there are common.
func (r *reading) checksum() error {
	s := r.s
	if s.sum == nil {
		return r.skip()
	}
	s.hashTo(s.pos)
	sum := hex.EncodeToString(s.sum.Sum(nil))
	s.sum = nil
	where := r.here()
	var stated []byte
	for depth := 1; depth > 0; {
		kind, err := s.next()
		if err != nil {
			return err
		}
		switch kind {
		case tokenStart:
			depth++
		case tokenEnd:
			depth--
		case tokenText:
			if len(stated) < 100 {
				stated = append(stated, s.text[:min(len(s.text), 100)]...)
			}
		}
	}
	if got := trimSpace(stated); !strings.EqualFold(string(got), sum) {
		r.file.add(parsers.Warn(CodeChecksum, where, "the file states the SHA-1 %.60q, its content gives %s", got, sum))
	}
	return nil
}

// mzML reads the document proper, whose start tag was read last.
func (r *reading) mzML() error {
	s := r.s
	where := r.here()
	if err := r.version(where); err != nil {
		return err
	}
	outer := r.ns
	defer func() { r.ns = outer }()
	r.ns = s.ns
	switch s.ns {
	case namespace:
	case "":
		r.file.add(parsers.Warn(CodeNamespace, where, "the elements are in no namespace"))
	default:
		return s.fail(CodeRoot, s.tag, "the namespace %.80q is not that of mzML 1", s.ns)
	}
	for _, name := range []string{"id", "accession"} {
		if v := s.attr(name); len(v) > 0 {
			if err := r.field("mzML "+name, string(v)); err != nil {
				return err
			}
		}
	}
	for {
		more, err := r.child()
		if err != nil {
			return err
		}
		if !more {
			break
		}
		name := string(s.local)
		switch {
		case name == "run":
			if r.runs++; r.runs > 1 {
				return s.fail(CodeStructure, s.tag, "a second run")
			}
			err = r.runElement()
		case r.runs > 0:
			err = r.misplaced()
		case name == "cvList":
			err = r.skip()
		case name == "referenceableParamGroupList":
			err = r.paramGroups()
		case name == "fileDescription", name == "sampleList", name == "softwareList", name == "scanSettingsList",
			name == "instrumentConfigurationList", name == "dataProcessingList":
			err = r.describe("")
		default:
			err = r.misplaced()
		}
		if err != nil {
			return err
		}
	}
	if r.runs == 0 {
		return s.fail(CodeStructure, s.tag, "there is no run")
	}
	return nil
}

// version judges the version attribute: 1.x is read, drafts before 1.0 have another
// structure under the same name.
func (r *reading) version(where parsers.Place) error {
	s := r.s
	v := string(trimSpace(s.attr("version")))
	r.header = parsers.Header{Record: 1, Format: parsers.FormatMzML, Version: v}
	switch {
	case v == "":
		r.file.add(parsers.Warn(CodeVersionEmpty, where, "no version is stated; read as 1.1"))
	case v != "1" && !strings.HasPrefix(v, "1."):
		return s.fail(CodeVersion, s.tag, "version %.40q is not read", v)
	}
	return nil
}

// here is the place of the token read last.
func (r *reading) here() parsers.Place { return r.s.at(r.s.tag) }

// child goes to the next child element; false when the element that is open ends.
func (r *reading) child() (bool, error) {
	for {
		kind, err := r.s.next()
		if err != nil {
			return false, err
		}
		switch kind {
		case tokenEnd:
			return false, nil
		case tokenText:
			if !isBlank(r.s.text) {
				r.warn(CodeElement, "text that belongs to no element: %.40q", trimSpace(r.s.text))
			}
		case tokenStart:
			if r.s.ns == r.ns {
				return true, nil
			}
			if err := r.skip(); err != nil {
				return false, err
			}
		}
	}
}

// skip passes over the element whose start tag was read last.
func (r *reading) skip() error {
	for depth := 1; depth > 0; {
		kind, err := r.s.next()
		if err != nil {
			return err
		}
		switch kind {
		case tokenStart:
			depth++
		case tokenEnd:
			depth--
		}
	}
	return nil
}

// misplaced remarks on an element that does not belong where it stands and skips it.
func (r *reading) misplaced() error {
	r.warn(CodeElement, "the element %.80s does not belong here and is not read", r.s.qname)
	return r.skip()
}

// keep counts header text against the limit for one token, so that endless headers
// do not fill the memory.
func (r *reading) keep(n int) error {
	if r.kept += n; r.kept > r.lim.TokenBytes {
		return r.s.fail(CodeLimitToken, r.s.tag, "more than %d bytes of header values", r.lim.TokenBytes)
	}
	return nil
}

// field keeps a header value.
func (r *reading) field(name, text string) error {
	r.header.Fields = append(r.header.Fields, parsers.Field{Name: name, Text: text})
	return r.keep(len(name) + len(text) + 32)
}

// intern gives the same string for the same bytes, for names that come again and again.
func (r *reading) intern(b []byte) string {
	if s, ok := r.interned[string(b)]; ok {
		return s
	}
	s := string(b)
	if len(r.interned) < 4096 && len(b) < 256 {
		r.interned[s] = s
	}
	return s
}

// join names something inside of something.
func (r *reading) join(label string, b []byte, sep string) string {
	if label == "" {
		return r.intern(b)
	}
	var buf [256]byte
	return r.intern(append(append(append(buf[:0], label...), sep...), b...))
}

// isList reports whether an element only lists others.
func isList(name []byte) bool { return bytes.HasSuffix(name, []byte("List")) }
