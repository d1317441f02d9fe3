package mzml

import (
	"bufio"
	"hash"
	"io"
	"unicode/utf16"
	"unicode/utf8"

	"underbond/parsers"
)

// decoded gives XML content as UTF-8 without its byte order mark, whatever the container
// and encoding.
type decoded struct {
	in       *bufio.Reader
	packed   bool   // the content came out of gzip
	encoding string // as declared, or as found
	form     form
	bom      []byte
	table    *[128]rune

	raw  []byte // read and not yet decoded, UTF-16 only
	out  []byte // decoded and not yet given
	held []byte // memory of out
	err  error  // comes after out
}

// declarationLength is how far an XML declaration is looked for.
const declarationLength = 1024

func newDecoded(src io.Reader, max int64) (*decoded, error) {
	u, err := newUnpacked(src, max)
	if err != nil {
		return nil, err
	}
	d := &decoded{in: bufio.NewReaderSize(u, 64<<10), packed: u.packed}
	head, err := d.in.Peek(declarationLength)
	if err != nil && err != io.EOF {
		if len(head) == 0 {
			return nil, err
		}
	}
	var bom int
	if d.encoding, d.form, bom, err = encodingOf(head); err != nil {
		return nil, err
	}
	d.bom = append([]byte(nil), head[:bom]...)
	if _, err := d.in.Discard(bom); err != nil {
		return nil, err
	}
	if d.form == formSingle {
		d.table = singleByte(d.encoding)
	}
	return d, nil
}

// Read gives UTF-8. Whether UTF-8 content is valid is for the scanner to find.
func (d *decoded) Read(p []byte) (int, error) {
	for {
		if len(d.out) > 0 {
			n := copy(p, d.out)
			d.out = d.out[n:]
			return n, nil
		}
		if d.err != nil {
			return 0, d.err
		}
		if d.form == formUTF8 {
			return d.in.Read(p)
		}
		n, err := d.in.Read(p)
		d.err = err
		if d.form == formSingle {
			if isASCII(p[:n]) {
				if n > 0 {
					return n, nil
				}
				continue
			}
			d.single(p[:n])
		} else {
			d.wide(p[:n])
		}
	}
}

func (d *decoded) single(b []byte) {
	var ok bool
	d.held, ok = appendSingle(d.held[:0], b, d.table)
	d.out = d.held
	if !ok {
		d.err = parsers.Refuse(CodeEncoding, parsers.Place{}, "a byte that is no character in the declared encoding %s", d.encoding)
	}
}

func (d *decoded) wide(b []byte) {
	d.raw = append(d.raw, b...)
	var used int
	var ok bool
	d.held, used, ok = appendUTF16(d.held[:0], d.raw[:len(d.raw)&^1], d.form)
	d.out = d.held
	d.raw = d.raw[:copy(d.raw, d.raw[used:])]
	if !ok || d.err == io.EOF && len(d.raw) > 0 {
		d.err = parsers.Refuse(CodeEncoding, parsers.Place{}, "half a character in the encoding %s", d.encoding)
	}
}

// offset turns a position in the UTF-8 text into one in the content: before it are
// cont continuation bytes and quad characters of four bytes.
func (d *decoded) offset(pos, cont, quad int64) int64 {
	switch d.form {
	case formSingle:
		pos -= cont
	case formUTF16LE, formUTF16BE:
		pos = 2 * (pos - cont + quad)
	}
	return pos + int64(len(d.bom))
}

// original writes the bytes that the UTF-8 text came from.
func (d *decoded) original(w hash.Hash, text []byte) {
	if d.form == formUTF8 || d.form == formSingle && isASCII(text) {
		w.Write(text)
		return
	}
	var b []byte
	for len(text) > 0 {
		r, n := utf8.DecodeRune(text)
		text = text[n:]
		switch {
		case d.form != formSingle:
			for _, u := range utf16.AppendRune(nil, r) {
				if d.form == formUTF16BE {
					b = append(b, byte(u>>8), byte(u))
				} else {
					b = append(b, byte(u), byte(u>>8))
				}
			}
		case r < utf8.RuneSelf:
			b = append(b, byte(r))
		default:
			for i, t := range d.table {
				if t == r {
					b = append(b, byte(utf8.RuneSelf+i))
					break
				}
			}
		}
	}
	w.Write(b)
}

func isASCII(b []byte) bool {
	for len(b) >= 8 {
		if (b[0]|b[1]|b[2]|b[3]|b[4]|b[5]|b[6]|b[7])&0x80 != 0 {
			return false
		}
		b = b[8:]
	}
	for _, c := range b {
		if c >= utf8.RuneSelf {
			return false
		}
	}
	return true
}
