package mzml

import (
	"encoding/binary"
	"errors"
	"math"
)

// Decoders of MS-Numpress, after the description and vectors published with it: a linear
// prediction for axes, a logarithm (slof) and rounded integers (pic) for intensities.
// Each appends at most max values to dst.

var (
	errNumpressCut    = errors.New("the Numpress data is cut or damaged")
	errNumpressLength = errors.New("the Numpress data holds more values than declared")
)

// fixedPoint reads the scale, the only big endian number in the format.
func fixedPoint(b []byte) (float64, error) {
	if len(b) < 8 {
		return 0, errNumpressCut
	}
	f := math.Float64frombits(binary.BigEndian.Uint64(b))
	if !(f > 0) || math.IsInf(f, 0) {
		return 0, errNumpressCut
	}
	return f, nil
}

func numpressLinear(dst []float64, b []byte, max int) ([]float64, error) {
	if len(b) == 0 {
		return dst, nil
	}
	fp, err := fixedPoint(b)
	if err != nil {
		return dst, err
	}
	if b = b[8:]; len(b) == 0 {
		return dst, nil
	}
	var last [2]int64
	for i := range last {
		if len(b) == 0 && i > 0 {
			return dst, nil
		}
		if len(b) < 4 {
			return dst, errNumpressCut
		}
		if max == i {
			return dst, errNumpressLength
		}
		last[i] = int64(int32(binary.LittleEndian.Uint32(b)))
		dst = append(dst, float64(last[i])/fp)
		b = b[4:]
	}
	h := halfBytes{b: b}
	for n := 2; h.more(); n++ {
		diff, err := h.int32()
		if err != nil {
			return dst, err
		}
		if n >= max {
			return dst, errNumpressLength
		}
		next := last[1] + (last[1] - last[0]) + int64(diff)
		dst = append(dst, float64(next)/fp)
		last[0], last[1] = last[1], next
	}
	return dst, nil
}

func numpressPic(dst []float64, b []byte, max int) ([]float64, error) {
	h := halfBytes{b: b}
	for n := 0; h.more(); n++ {
		v, err := h.int32()
		if err != nil {
			return dst, err
		}
		if n >= max {
			return dst, errNumpressLength
		}
		dst = append(dst, float64(uint32(v)))
	}
	return dst, nil
}

func numpressSlof(dst []float64, b []byte, max int) ([]float64, error) {
	if len(b) == 0 {
		return dst, nil
	}
	fp, err := fixedPoint(b)
	if err != nil {
		return dst, err
	}
	b = b[8:]
	if len(b)%2 != 0 {
		return dst, errNumpressCut
	}
	if len(b)/2 > max {
		return dst, errNumpressLength
	}
	for ; len(b) > 0; b = b[2:] {
		dst = append(dst, math.Exp(float64(binary.LittleEndian.Uint16(b))/fp)-1)
	}
	return dst, nil
}

// halfBytes reads integers whose leading zeros, or ones, are counted in a first half byte.
type halfBytes struct {
	b   []byte
	low bool // the high half of b[0] is read
}

// more reports whether an integer follows. One half byte 0 at the very end is padding.
func (h *halfBytes) more() bool {
	return len(h.b) > 1 || len(h.b) == 1 && !(h.low && h.b[0]&0xF == 0)
}

func (h *halfBytes) next() (uint32, bool) {
	if len(h.b) == 0 {
		return 0, false
	}
	if !h.low {
		h.low = true
		return uint32(h.b[0] >> 4), true
	}
	v := uint32(h.b[0] & 0xF)
	h.b, h.low = h.b[1:], false
	return v, true
}

func (h *halfBytes) int32() (int32, error) {
	head, ok := h.next()
	if !ok {
		return 0, errNumpressCut
	}
	var v uint32
	skip := head
	if head > 8 {
		skip = head - 8
		v = ^uint32(0) << (32 - 4*skip)
	}
	for i := uint32(0); i < 8-skip; i++ {
		half, ok := h.next()
		if !ok {
			return 0, errNumpressCut
		}
		v |= half << (4 * i)
	}
	return int32(v), nil
}
