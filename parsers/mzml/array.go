package mzml

import (
	"bytes"
	"fmt"
)

// slot holds the axis or the ordinate of the signal being read. The memory of values is
// used again for the next signal.
type slot struct {
	found    bool
	rank     int // lower is better
	twice    bool
	whole    bool // decoded without a problem
	kind     term
	name     string
	unit     term
	unitText string
	values   []float64
}

// array is one binaryDataArray as described by its terms.
type array struct {
	kind     term
	kinds    int
	name     string // of an array whose kind is not in the vocabulary's axis and value terms
	unit     term
	unitText string

	coding      coding
	declared    int // values
	lengthKnown bool
	binaries    int
	characters  int    // of the text, white space included
	damage      string // base64 that does not decode
}

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

// array reads one array and decodes it when it is an axis or an ordinate.
func (r *reading) array() error {
	s, it := r.s, &r.item
	a := array{declared: it.declared, lengthKnown: it.lengthKnown}
	it.arrays++
	if v := s.attr("arrayLength"); v != nil {
		if a.declared, a.lengthKnown = parseCount(v); a.lengthKnown && a.declared > r.lim.Points {
			return s.fail(CodeLimitPoints, s.tag, "%d values declared where %d points are allowed", a.declared, r.lim.Points)
		}
	}
	encoded, encodedKnown := parseCount(s.attr("encodedLength"))
	r.arrays.packed = r.arrays.packed[:0]
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
				err = r.binary(&a)
			} else {
				err = r.misplaced()
			}
		}
		if err != nil {
			return err
		}
	}
	// Writers that break lines count the white space, with line ends as one character.
	if n := (len(r.arrays.packed) + 2) / 3 * 4; encodedKnown && n != encoded && a.characters != encoded && a.damage == "" {
		r.remark(CodeEncodedLength, "array %d states %d characters of base64 and has %d", it.arrays, encoded, n)
	}
	return r.place(&a)
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

// binary reads the base64 text, whose start tag was read last. It is decoded where it lies
// unless a comment or CDATA section divides it.
func (r *reading) binary(a *array) error {
	s := r.s
	s.payload = true
	defer func() { s.payload = false }()
	// Sixteen characters a value leave room for 64 bits in base64 with white space.
	s.payloadMax = 16*min(a.declared, r.lim.Points) + 4096
	pieces := r.arrays.pieces[:0]
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
	r.arrays.pieces = pieces
	if divided {
		return r.base64(a, pieces)
	}
	return nil
}

// base64 decodes text into packed.
func (r *reading) base64(a *array, text []byte) error {
	a.characters = len(text) - bytes.Count(text, []byte{'\r'})
	if a.damage = r.arrays.base64(text); a.damage == "" {
		return nil
	}
	// The scanner left the characters unchecked: text that is no XML refuses the file.
	if i := badChar(text); i >= 0 {
		return r.s.illegal(r.s.tag, text[i])
	}
	return nil
}

// place decides what the array is to the signal and decodes it.
func (r *reading) place(a *array) error {
	it := &r.item
	to, rank := &it.value, valueRank[a.kind]
	if n := axisRank[a.kind]; n > 0 && !it.chromatogram {
		to, rank = &it.axis, n
	}
	if it.chromatogram && a.kind == termTimeArray {
		to, rank = &it.axis, 1
	}
	switch {
	case a.kinds > 1:
		r.remark(CodeArrayCoding, "array %d has %d terms for what it holds", it.arrays, a.kinds)
		return r.further(a.name, a)
	case rank == 0:
		return r.further(a.name, a)
	case to.found && rank > to.rank:
		return r.further(a.name, a)
	case to.found && rank == to.rank:
		to.twice = true
		return nil
	case to.found:
		if err := r.further(to.name, nil); err != nil {
			return err
		}
	}
	*to = slot{found: true, rank: rank, kind: a.kind, name: a.name, unit: a.unit, unitText: a.unitText, values: to.values}
	code, why := r.decode(to, a)
	if why != "" {
		r.remark(code, "array %d (%s): %s", it.arrays, a.name, why)
	}
	return nil
}

// further notes an array that is neither axis nor ordinate, and a damaged payload in it.
func (r *reading) further(name string, a *array) error {
	if name == "" {
		name = "unknown kind"
	}
	if a != nil && a.damage != "" {
		r.remark(CodeArrayDamaged, "array %d (%s): %s", r.item.arrays, name, a.damage)
	}
	return r.itemField("further array, not read", name)
}

// decode fills the slot; why is empty when that went well.
func (r *reading) decode(to *slot, a *array) (code, why string) {
	switch {
	case a.damage != "":
		return CodeArrayDamaged, a.damage
	case a.binaries != 1:
		return CodeArrayDamaged, fmt.Sprintf("%d binary elements", a.binaries)
	case !a.lengthKnown:
		return CodeArrayLength, "the number of values is not declared"
	}
	var err error
	to.values, code, err = r.arrays.values(to.values[:0], a.coding, a.declared, r.lim.InflateRatio)
	if err != nil {
		return code, err.Error()
	}
	to.whole = true
	switch n := len(to.values); {
	case n != a.declared:
		return CodeArrayLength, fmt.Sprintf("%d values where %d are declared", n, a.declared)
	case r.arrays.inexact:
		return CodePrecision, "integers beyond 2^53 lose digits"
	case r.arrays.trailing > 0:
		return CodeArrayLength, fmt.Sprintf("%d bytes after the end of the compressed data", r.arrays.trailing)
	}
	return "", ""
}

// trimBase64 removes all white space; in is left alone when there is none.
func trimBase64(dst, in []byte) []byte {
	if bytes.IndexFunc(in, func(c rune) bool { return c <= ' ' && isSpace(byte(c)) }) < 0 {
		return in
	}
	dst = dst[:0]
	for _, c := range in {
		if !isSpace(c) {
			dst = append(dst, c)
		}
	}
	return dst
}
