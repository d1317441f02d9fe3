package mzml

import (
	"bytes"

	"underbond/parsers"
)

// array is one binaryDataArray: what its terms say, its payload, and its values once
// they are decoded. The memory of payload and values is used again.
type array struct {
	number   int // within the signal, from 1
	where    parsers.Place
	kind     term
	kinds    int
	name     string // what it holds; empty when no term says so
	unit     term
	unitText string

	coding      coding
	declared    int // values
	lengthKnown bool
	binaries    int
	characters  int    // of the text, white space included
	damage      string // base64 that does not decode
	packed      []byte // decoded base64

	whole  bool // decoded; values or text are there
	values []float64
	text   []string
}

// term takes up one term of the array.
func (a *array) term(p *param) {
	if p.userParam || a.coding.term(p.accession) {
		return
	}
	name, known := arrayNames[p.accession]
	if !known {
		return
	}
	a.kind, a.name = p.accession, name
	a.kinds++
	if len(p.value) > 0 && p.accession == termOtherArray {
		a.name = string(p.value)
	}
	a.unit, a.unitText = p.unit, string(p.unitName)
}

// title is the array as problems name it.
func (a *array) title() string {
	if a.name == "" {
		return "unknown kind"
	}
	return a.name
}

// length is how many values were decoded.
func (a *array) length() int {
	if a.coding.text {
		return len(a.text)
	}
	return len(a.values)
}

// quantity describes what the array holds.
func (a *array) quantity() parsers.Quantity { return quantity(a.title(), a.unit, a.unitText) }

// arrayList reads the arrays of a signal.
func (r *reading) arrayList() error {
	for {
		more, err := r.child()
		if err != nil || !more {
			return err
		}
		if string(r.s.local) == "binaryDataArray" {
			err = r.array()
		} else {
			err = r.misplaced()
		}
		if err != nil {
			return err
		}
	}
}

// payloadsMax bounds the payloads that a signal may have beside its first arrays, since
// all of them are held until the signal is whole.
const payloadsMax = 64 << 20

// array reads one array up to its payload, which is decoded later.
func (r *reading) array() error {
	s, it := r.s, r.item
	if it.payloads > payloadsMax && len(it.arrays) >= 2 {
		it.crowded++
		return r.skip()
	}
	if len(it.arrays) >= r.lim.Attributes {
		return s.fail(CodeLimitCount, s.tag, "more than %d arrays in one signal", r.lim.Attributes)
	}
	a := it.newArray()
	if v := s.attr("arrayLength"); v != nil {
		if a.declared, a.lengthKnown = parseCount(v); a.lengthKnown && a.declared > r.lim.Points {
			return s.fail(CodeLimitPoints, s.tag, "%d values declared where %d points are allowed", a.declared, r.lim.Points)
		}
	}
	encoded, encodedKnown := parseCount(s.attr("encodedLength"))
	take := func(p *param) error { a.term(p); return nil }
	for {
		more, err := r.child()
		if err != nil {
			return err
		}
		if !more {
			break
		}
		handled, err := r.params(take)
		if err == nil && !handled {
			if string(s.local) == "binary" {
				a.binaries++
				err = r.binary(a)
			} else {
				err = r.misplaced()
			}
		}
		if err != nil {
			return err
		}
	}
	a.where = s.spot(s.tag)
	it.payloads += len(a.packed)
	// Writers that break lines count the white space, with line ends as one character.
	if n := (len(a.packed) + 2) / 3 * 4; encodedKnown && n != encoded && a.characters != encoded && a.damage == "" {
		r.remark(CodeEncodedLength, "array %d states %d characters of base64 and has %d", a.number, encoded, n)
	}
	return nil
}

// newArray begins an array with the memory of one of an earlier signal.
func (it *item) newArray() *array {
	n := len(it.arrays)
	if n < cap(it.arrays) {
		it.arrays = it.arrays[:n+1]
	} else {
		it.arrays = append(it.arrays, array{})
	}
	a := &it.arrays[n]
	*a = array{number: n + 1, declared: it.declared, lengthKnown: it.lengthKnown, packed: a.packed[:0], values: a.values[:0]}
	return a
}

// binary reads the base64 text, whose start tag was read last. It is decoded where it lies
// unless a comment or CDATA section divides it.
func (r *reading) binary(a *array) error {
	s := r.s
	s.payload = true
	defer func() { s.payload = false }()
	// Sixteen characters a value leave room for 64 bits in base64 with white space.
	s.payloadMax = 16*min(a.declared, r.lim.Points) + 4096
	pieces := r.pieces[:0]
	divided := false
	for {
		kind, err := s.next()
		if err != nil {
			return err
		}
		if kind == tokenEnd {
			break
		}
		if kind == tokenStart {
			if err := r.misplaced(); err != nil {
				return err
			}
			continue
		}
		if !divided && s.pos+1 < s.end && s.buf[s.pos+1] == '/' {
			if err := r.base64(a, s.text); err != nil {
				return err
			}
			continue
		}
		divided = true
		if len(pieces)+len(s.text) > s.textMax() {
			return s.fail(CodeLimitToken, s.tag, "a text longer than %d bytes", s.textMax())
		}
		pieces = append(pieces, s.text...)
	}
	r.pieces = pieces
	if divided {
		return r.base64(a, pieces)
	}
	return nil
}

// base64 decodes text into the array's payload.
func (r *reading) base64(a *array, text []byte) error {
	a.characters = len(text) - bytes.Count(text, []byte{'\r'})
	if a.packed, a.damage = decodeBase64(a.packed, text); a.damage == "" {
		return nil
	}
	// The scanner left the characters unchecked: text that is no XML refuses the file.
	if i := badChar(text); i >= 0 {
		return r.s.illegal(r.s.tag, text[i])
	}
	return nil
}
