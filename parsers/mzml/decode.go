package mzml

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	fastbase64 "github.com/segmentio/asm/base64"

	"github.com/klauspost/compress/zlib"
	"github.com/klauspost/compress/zstd"
)

// coding is how an array's values became bytes.
type coding struct {
	width       int  // bytes of a value; 0 when no data type is stated
	integer     bool // of that width
	numpress    term // one of the three codecs, or 0
	plain       bool
	zlib, zstd  bool
	unsupported string
	types       int
}

// term takes up a term about the coding; false when it is about something else.
func (c *coding) term(t term) bool {
	switch t {
	case termFloat64:
		c.width, c.types = 8, c.types+1
	case termFloat32:
		c.width, c.types = 4, c.types+1
	case termInt64:
		c.width, c.integer, c.types = 8, true, c.types+1
	case termInt32:
		c.width, c.integer, c.types = 4, true, c.types+1
	case termFloat16:
		c.unsupported, c.types = "16-bit floats", c.types+1
	case termASCII:
		c.unsupported, c.types = "text", c.types+1
	case termPlain:
		c.plain = true
	case termZlib, termTruncate:
		c.zlib = true
	case termZstd:
		c.zstd = true
	case termNumpressLinear, termNumpressPic, termNumpressSlof:
		c.press(t)
	case termNumpressLinearZlib, termNumpressPicZlib, termNumpressSlofZlib:
		c.zlib = true
		c.press(t - termNumpressLinearZlib + termNumpressLinear)
	case termNumpressLinearZstd, termNumpressPicZstd, termNumpressSlofZstd:
		c.zstd = true
		c.press(t - termNumpressLinearZstd + termNumpressLinear)
	default:
		name, known := codings[t]
		if known {
			c.unsupported = name
		}
		return known
	}
	return true
}

func (c *coding) press(t term) {
	if c.numpress != 0 && c.numpress != t {
		c.unsupported = "two Numpress codecs"
	}
	c.numpress = t
}

// fault says why values cannot be decoded, or "". Numpress gives doubles whatever the
// data type says.
func (c *coding) fault() string {
	switch {
	case c.unsupported != "":
		return "the coding (" + c.unsupported + ") is not supported"
	case c.zlib && c.zstd, c.plain && (c.zlib || c.zstd || c.numpress != 0):
		return "contradictory compression terms"
	case !c.plain && !c.zlib && !c.zstd && c.numpress == 0:
		return "no compression term that is known"
	case c.numpress == 0 && c.types == 0:
		return "no data type"
	case c.numpress == 0 && c.types > 1:
		return "more than one data type"
	}
	return ""
}

// arrayDecoder turns base64 text into values. Its memory is used again for each array.
type arrayDecoder struct {
	pieces []byte // text that comments or CDATA sections divide
	packed []byte // decoded base64
	raw    []byte // decompressed
	spare  []byte

	input    bytes.Reader
	inflater io.ReadCloser
	zstd     *zstd.Decoder

	inexact  bool // an integer did not fit a float64
	trailing int  // bytes after the compressed data
}

func (d *arrayDecoder) close() {
	if d.zstd != nil {
		d.zstd.Close()
	}
}

// base64 decodes text into packed. The fast decoder passes over line ends only and
// does not locate errors, so what it does not take is decoded again.
func (d *arrayDecoder) base64(text []byte) (damage string) {
	text = trimSpace(text)
	need := base64.StdEncoding.DecodedLen(len(text))
	if cap(d.packed) < need {
		d.packed = make([]byte, need+need/4)
	}
	n, err := fastbase64.StdEncoding.Decode(d.packed[:need], text)
	if err != nil {
		d.spare = trimBase64(d.spare, text)
		text = d.spare
		n, err = base64.StdEncoding.Decode(d.packed[:need], text)
	}
	if err != nil {
		d.packed = d.packed[:0]
		var at base64.CorruptInputError
		if errors.As(err, &at) && int(at) < len(text) {
			return fmt.Sprintf("the base64 text is damaged at character %d (%q)", int64(at)+1, text[at:at+1])
		}
		return "the base64 text is cut"
	}
	d.packed = d.packed[:n]
	return ""
}

// values appends the values in packed to dst. More than declared are an error, fewer
// are for the caller to judge.
func (d *arrayDecoder) values(dst []float64, c coding, declared, ratio int) (out []float64, code string, err error) {
	d.inexact, d.trailing = false, 0
	if len(d.packed) == 0 {
		return dst, "", nil
	}
	if why := c.fault(); why != "" {
		return dst, CodeArrayCoding, errors.New(why)
	}
	most := declared * c.width
	if c.numpress != 0 {
		most = 16 + 5*declared // at most nine half bytes a value
	}
	b := d.packed
	if c.zlib || c.zstd {
		if b, err = d.inflate(c.zstd, most, ratio); err != nil {
			return dst, CodeArrayDamaged, err
		}
	}
	if len(b) > most {
		return dst, CodeArrayLength, fmt.Errorf("more than the %d values declared", declared)
	}
	switch c.numpress {
	case termNumpressLinear:
		dst, err = numpressLinear(dst, b, declared)
	case termNumpressPic:
		dst, err = numpressPic(dst, b, declared)
	case termNumpressSlof:
		dst, err = numpressSlof(dst, b, declared)
	default:
		if len(b)%c.width != 0 {
			return dst, CodeArrayDamaged, fmt.Errorf("%d bytes are no whole number of %d-byte values", len(b), c.width)
		}
		dst = d.convert(dst, b, c)
	}
	if errors.Is(err, errNumpressLength) {
		return dst, CodeArrayLength, err
	}
	return dst, CodeArrayDamaged, err
}

// inflate decompresses packed into raw, and one byte more than most at the utmost.
func (d *arrayDecoder) inflate(zstandard bool, most, ratio int) ([]byte, error) {
	d.input.Reset(d.packed)
	from, err := d.inflaterFor(zstandard)
	if err != nil {
		return nil, fmt.Errorf("the compressed data does not begin as such: %w", err)
	}
	if limit := ratio*len(d.packed) + 4096; limit < most {
		most = limit
	}
	raw := d.raw[:0]
	for {
		if len(raw) > most {
			break
		}
		if len(raw) == cap(raw) {
			grown := make([]byte, len(raw), min(most+1, max(2*cap(raw), 4*len(d.packed), 4096)))
			copy(grown, raw)
			raw = grown
		}
		n, err := from.Read(raw[len(raw):min(cap(raw), most+1)])
		raw = raw[:len(raw)+n]
		if err == io.EOF {
			break
		}
		if err != nil {
			d.raw = raw
			return nil, fmt.Errorf("the compressed data is damaged or cut after %d bytes: %w", len(raw), err)
		}
	}
	d.raw = raw
	d.trailing = d.input.Len()
	return raw, nil
}

// inflaterFor resets the decompressor to input.
func (d *arrayDecoder) inflaterFor(zstandard bool) (io.Reader, error) {
	var err error
	switch {
	case zstandard && d.zstd == nil:
		d.zstd, err = zstd.NewReader(&d.input, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(32<<20))
	case zstandard:
		err = d.zstd.Reset(&d.input)
	case d.inflater == nil:
		d.inflater, err = zlib.NewReader(&d.input)
	default:
		err = d.inflater.(zlib.Resetter).Reset(&d.input, nil)
	}
	if err != nil {
		return nil, err
	}
	if zstandard {
		return d.zstd, nil
	}
	return d.inflater, nil
}

// convert appends the little endian numbers in b.
func (d *arrayDecoder) convert(dst []float64, b []byte, c coding) []float64 {
	at, n := len(dst), len(b)/c.width
	if cap(dst)-at < n {
		grown := make([]float64, at, at+n)
		copy(grown, dst)
		dst = grown
	}
	dst = dst[:at+n]
	out := dst[at:]
	switch {
	case c.width == 8 && !c.integer:
		for i := range out {
			out[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
	case c.width == 4 && !c.integer:
		for i := range out {
			out[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:])))
		}
	case c.width == 8:
		for i := range out {
			v := int64(binary.LittleEndian.Uint64(b[8*i:]))
			if v > 1<<53 || v < -1<<53 {
				d.inexact = true
			}
			out[i] = float64(v)
		}
	default:
		for i := range out {
			out[i] = float64(int32(binary.LittleEndian.Uint32(b[4*i:])))
		}
	}
	return dst
}
