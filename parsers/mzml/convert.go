package mzml

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
)

// convert appends the little endian numbers in b.
func (d *arrayDecoder) convert(dst []float64, b []byte, c *coding) []float64 {
	at, n := len(dst), len(b)/c.width
	dst = slices.Grow(dst, n)[:at+n]
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
	case c.width == 2:
		for i := range out {
			out[i] = halfFloat(binary.LittleEndian.Uint16(b[2*i:]))
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

// halfFloat gives the value of an IEEE 754 binary16 number.
func halfFloat(h uint16) float64 {
	exponent, fraction := int(h>>10&0x1F), float64(h&0x3FF)
	var v float64
	switch exponent {
	case 0:
		v = math.Ldexp(fraction, -24)
	case 0x1F:
		v = math.Inf(1)
		if fraction != 0 {
			v = math.NaN()
		}
	default:
		v = math.Ldexp(fraction+0x400, exponent-25)
	}
	if h&0x8000 != 0 {
		v = -v
	}
	return v
}

// predict turns what a prediction left into values, in the precision of the data type.
// Both predictions keep the first two values; the others are, as the open readers and
// writers of these codings have it,
//
//	delta:  y[i] = x[0] + x[i] - x[i-1]
//	linear: y[i] = x[1] + x[i] - 2·x[i-1] + x[i-2]
func predict(v []float64, c *coding) {
	for i := 2; i < len(v); i++ {
		switch {
		case c.predicted == termTruncateDelta && c.width == 4:
			v[i] = float64(float32(v[i]) + float32(v[i-1]) - float32(v[0]))
		case c.predicted == termTruncateDelta:
			v[i] = v[i] + v[i-1] - v[0]
		case c.width == 4:
			v[i] = float64(float32(v[i]) + 2*float32(v[i-1]) - float32(v[i-2]) - float32(v[1]))
		default:
			v[i] = v[i] + 2*v[i-1] - v[i-2] - v[1]
		}
	}
}

// unshuffle puts the bytes of each value together again.
func (d *arrayDecoder) unshuffle(b []byte, width int) []byte {
	d.other = slices.Grow(d.other[:0], len(b))[:len(b)]
	n := len(b) / width
	for i := range width {
		for j, c := range b[i*n : (i+1)*n] {
			d.other[j*width+i] = c
		}
	}
	return d.other
}

// fromDictionary decodes distinct values and indices into them:
//
//	8 bytes   where the indices begin, from the start
//	8 bytes   how many distinct values there are (one writer: how many values in all)
//	          the distinct values, shuffled
//	          the indices of 1, 2, 4 or 8 bytes, as small as possible, shuffled
//
// The index size follows from the declared number of values where they agree, since
// writers change from one size to the next at different numbers of distinct values.
func (d *arrayDecoder) fromDictionary(a *array, b []byte, most int) error {
	c := &a.coding
	if len(b) < 16 {
		return fmt.Errorf("a dictionary of %d bytes", len(b))
	}
	begin, stated := binary.LittleEndian.Uint64(b), binary.LittleEndian.Uint64(b[8:])
	if begin < 16 || begin > uint64(len(b)) || (begin-16)%uint64(c.width) != 0 {
		return fmt.Errorf("a dictionary of %d bytes whose indices begin at byte %d", len(b), begin)
	}
	distinct := int(begin-16) / c.width
	indices := b[begin:]
	size := indexSize(distinct, len(indices), a.declared)
	if len(indices)%size != 0 {
		return errPartOfValue(len(indices), size)
	}
	n := len(indices) / size
	if stated != uint64(distinct) && stated != uint64(n) {
		return fmt.Errorf("a dictionary states %d values where %d and %d are", stated, distinct, n)
	}
	if n > most {
		return errTooMany
	}
	table := d.convert(nil, d.unshuffle(b[16:begin], c.width), c)
	a.values = slices.Grow(a.values, n)
	for i := range n {
		var at uint64
		for k := range size {
			at |= uint64(indices[k*n+i]) << (8 * k)
		}
		if at >= uint64(distinct) {
			return fmt.Errorf("index %d into a dictionary of %d values", at, distinct)
		}
		a.values = append(a.values, table[at])
	}
	return nil
}

// indexSize gives the size of the indices into a number of distinct values.
func indexSize(distinct, bytes, declared int) int {
	size := 8
	switch {
	case distinct <= 1<<8:
		size = 1
	case distinct <= 1<<16:
		size = 2
	case distinct <= 1<<32:
		size = 4
	}
	for wider := size; wider <= 8; wider *= 2 {
		if wider*declared == bytes {
			return wider
		}
	}
	return size
}

// splitText gives the strings in b, each ended by a zero byte, at most max.
func splitText(b []byte, max int) ([]string, error) {
	if i := bytes.IndexFunc(b, func(r rune) bool { return r >= 0x80 }); i >= 0 {
		return nil, fmt.Errorf("byte %#02x in text is no ASCII character", b[i])
	}
	if len(b) > 0 && b[len(b)-1] != 0 {
		return nil, fmt.Errorf("the last string has no end")
	}
	if bytes.Count(b, []byte{0}) > max {
		return nil, errTooMany
	}
	var list []string
	for len(b) > 0 {
		i := bytes.IndexByte(b, 0)
		list = append(list, string(b[:i]))
		b = b[i+1:]
	}
	return list, nil
}
