package mzml

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"slices"

	"github.com/klauspost/compress/zstd"
	fastbase64 "github.com/segmentio/asm/base64"

	"underbond/parsers/mzml/inflate"
)

// Bounds of the memory that one array may take, whatever it declares: sums of real
// arrays stay far below, and a small hostile one cannot grow large.
const (
	decodedFree  = 32 << 20 // bytes that any array may take once decoded
	decodedRatio = 64       // and for each byte of its payload so many more
)

// arrayDecoder turns payloads into values. Its memory is used again for each array.
type arrayDecoder struct {
	raw   []byte // decompressed
	other []byte // rearranged
	zlib  inflate.Decoder
	zstd  *zstd.Decoder

	inexact  bool // an integer did not fit a float64
	trailing int  // bytes after the compressed data
}

// shrink lets go of memory that only an unusual array needs.
func (d *arrayDecoder) shrink() {
	if cap(d.raw) > 8*idleValues {
		d.raw = nil
	}
	if cap(d.other) > 8*idleValues {
		d.other = nil
	}
}

func (d *arrayDecoder) close() {
	if d.zstd != nil {
		d.zstd.Close()
	}
}

// lossError says with a code why an array is lost.
type lossError struct {
	code string
	why  string
}

func (e *lossError) Error() string { return e.why }

func lost(code, format string, args ...any) error {
	return &lossError{code, fmt.Sprintf(format, args...)}
}

// decode fills the array's values or strings. An error is a lossError.
func (d *arrayDecoder) decode(a *array, ratio int) error {
	d.inexact, d.trailing = false, 0
	a.values, a.text = a.values[:0], nil
	switch {
	case a.damage != "":
		return lost(CodeArrayDamaged, "%s", a.damage)
	case a.binaries != 1:
		return lost(CodeArrayDamaged, "%d binary elements", a.binaries)
	case !a.lengthKnown:
		return lost(CodeArrayLength, "the number of values is not declared")
	case len(a.packed) == 0:
		return nil
	}
	if why := a.coding.fault(); why != "" {
		return lost(CodeArrayCoding, "%s", why)
	}
	allowed := decodedFree + decodedRatio*len(a.packed)
	values := min(a.declared, allowed/8)
	err := d.unpack(a, values, min(allowed, ratio*len(a.packed)+4096))
	var loss *lossError
	switch {
	case err == nil || errors.As(err, &loss):
		return err
	case errors.Is(err, errTooMany) && values < a.declared:
		return lost(CodeArrayDamaged, "more than %d values out of %d bytes, which is not believed", values, len(a.packed))
	case errors.Is(err, errTooMany):
		return lost(CodeArrayLength, "more than the %d values declared", a.declared)
	}
	return lost(CodeArrayDamaged, "%v", err)
}

// errTooMany says that there is more to decode than was declared or is allowed.
var errTooMany = errors.New("more values than expected")

// unpack decodes at most max values from at most most decompressed bytes.
func (d *arrayDecoder) unpack(a *array, max, most int) (err error) {
	c := &a.coding
	switch {
	case c.text:
	case c.numpress != 0:
		most = min(most, 16+5*max) // at most nine half bytes a value
	case c.dictionary:
		most = min(most, 16+16*max) // each value distinct, with the longest index
	default:
		most = min(most, c.width*max)
	}
	raw := a.packed
	if c.zlib {
		raw, err = d.inflate(a.packed, most)
	} else if c.zstd {
		raw, err = d.expand(a.packed, most)
	}
	if err != nil {
		return err
	}
	if len(raw) > most {
		return errTooMany
	}
	if c.numpress != 0 {
		a.values = slices.Grow(a.values, min(max, 2*len(raw))) // a value has half a byte or more
	}
	switch {
	case c.text:
		a.text, err = splitText(raw, max)
		return err
	case c.numpress == termNumpressLinear:
		a.values, err = numpressLinear(a.values, raw, max)
	case c.numpress == termNumpressPic:
		a.values, err = numpressPic(a.values, raw, max)
	case c.numpress == termNumpressSlof:
		a.values, err = numpressSlof(a.values, raw, max)
	case c.dictionary:
		return d.fromDictionary(a, raw, max)
	case len(raw)%c.width != 0:
		return errPartOfValue(len(raw), c.width)
	default:
		if c.shuffled {
			raw = d.unshuffle(raw, c.width)
		}
		a.values = d.convert(a.values, raw, c)
		if c.predicted != 0 {
			predict(a.values, c)
		}
	}
	if errors.Is(err, errNumpressLength) {
		return errTooMany
	}
	return err
}

func errPartOfValue(n, width int) error {
	return fmt.Errorf("%d bytes are no whole number of %d-byte values", n, width)
}

// decodeBase64 decodes text and gives the bytes in the memory of dst. The fast decoder
// passes over line ends only and does not locate errors, so what it does not take is
// decoded again.
func decodeBase64(dst, text []byte) (out []byte, damage string) {
	text = trimSpace(text)
	need := base64.StdEncoding.DecodedLen(len(text))
	if cap(dst) < need+inflate.Padding {
		dst = make([]byte, need+need/8+inflate.Padding)
	}
	n, err := fastbase64.StdEncoding.Decode(dst[:need], text)
	if err != nil {
		text = bytes.Join(bytes.FieldsFunc(text, func(r rune) bool { return r < 0x80 && isSpace(byte(r)) }), nil)
		n, err = base64.StdEncoding.Decode(dst[:need], text)
	}
	if err != nil {
		var at base64.CorruptInputError
		if errors.As(err, &at) && int(at) < len(text) {
			return dst[:0], fmt.Sprintf("the base64 text is damaged at character %d (%q)", int64(at)+1, text[at:at+1])
		}
		return dst[:0], "the base64 text is cut"
	}
	return dst[:n], ""
}
