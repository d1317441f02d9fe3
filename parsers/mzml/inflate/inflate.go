// Package inflate decompresses zlib data (RFC 1950, RFC 1951) from one buffer into
// another. Content with many small compressed arrays is decoded about twice as fast as
// through a streaming reader, since nothing is handed over byte by byte and what is
// already decompressed is the window.
package inflate

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/adler32"
)

// Errors of Decoder.Zlib.
var (
	ErrHeader   = errors.New("no zlib header")
	ErrCut      = errors.New("cut")
	ErrCorrupt  = errors.New("corrupt")
	ErrChecksum = errors.New("checksum does not agree")
	// ErrTooLong says that there is more than the caller allows.
	ErrTooLong = errors.New("longer than allowed")
)

// Padding is how many bytes of capacity a buffer should have beyond its length to be
// decompressed in place; others are copied first.
const Padding = 16

// slack is how much room the decoder needs beyond what it has written to go round once:
// three literals, the longest match and a word of eight bytes.
const slack = 3 + 258 + 8

// Decoder keeps the memory of the code tables. The zero value is ready.
type Decoder struct {
	litlen  [1 << 12]uint32
	dist    [1 << 10]uint32
	lengths [320]uint8
	src     []byte // with Padding
}

// Zlib decompresses a zlib stream at the start of src into the memory of dst, at most max
// bytes, and gives the number of bytes of src that it took. It may write behind the end
// of src as far as Padding, within its capacity.
func (d *Decoder) Zlib(dst, src []byte, max int) (out []byte, used int, err error) {
	if len(src) < 2 {
		return dst[:0], 0, fmt.Errorf("%w: %d bytes", ErrHeader, len(src))
	}
	if h := uint(src[0])<<8 | uint(src[1]); h&0x0F00 != 0x0800 || h>>12 > 7 || h%31 != 0 || h&0x20 != 0 {
		return dst[:0], 0, ErrHeader
	}
	n := len(src)
	if cap(src) < n+Padding {
		d.src = append(append(d.src[:0], src...), make([]byte, Padding)...)
		src = d.src
	} else {
		src = src[:n+Padding]
		clear(src[n:])
	}
	if most := max + 1 + slack; cap(dst) < min(most, 4*n+slack) {
		dst = make([]byte, min(most, 4*n+slack))
	} else {
		dst = dst[:min(most, cap(dst))]
	}
	w := work{src: src, size: n, pos: 2, dst: dst, max: max}
	err = w.stream(d)
	out = w.dst[:w.n]
	if err != nil {
		return out, w.pos, err
	}
	if w.pos+4 > n {
		return out, w.pos, fmt.Errorf("%w in the checksum", ErrCut)
	}
	if adler32.Checksum(out) != binary.BigEndian.Uint32(src[w.pos:]) {
		return out, w.pos, ErrChecksum
	}
	return out, w.pos + 4, nil
}

// work is one stream being decompressed. src has Padding zero bytes after size. The next
// bits are the lowest of bits; count are valid. Bits above them may hold what follows.
type work struct {
	src   []byte
	size  int
	pos   int
	bits  uint64
	count uint
	dst   []byte
	n     int
	max   int
}

// refill makes at least 56 bits available, zeros after the end.
func (w *work) refill() error {
	if w.pos > w.size+8 {
		return ErrCut
	}
	w.bits |= binary.LittleEndian.Uint64(w.src[w.pos:]) << (w.count & 63)
	w.pos += int((63 - w.count) >> 3)
	w.count |= 56
	return nil
}

func (w *work) take(n uint) uint {
	v := uint(w.bits & (1<<n - 1))
	w.bits >>= n
	w.count -= n
	return v
}

// align gives back whole bytes and drops the rest of one.
func (w *work) align() error {
	w.pos -= int(w.count >> 3)
	w.bits, w.count = 0, 0
	if w.pos > w.size {
		return ErrCut
	}
	return nil
}

// stream decompresses all blocks.
func (w *work) stream(d *Decoder) error {
	for final := false; !final; {
		if err := w.refill(); err != nil {
			return err
		}
		final = w.take(1) == 1
		var err error
		switch w.take(2) {
		case 0:
			err = w.stored()
		case 1:
			d.fixed()
			err = w.block(d)
		case 2:
			if err = w.codes(d); err == nil {
				err = w.block(d)
			}
		default:
			err = fmt.Errorf("%w: a block of an unknown kind", ErrCorrupt)
		}
		if err != nil {
			return err
		}
	}
	return w.align()
}

// stored copies a block that is not compressed.
func (w *work) stored() error {
	if err := w.align(); err != nil {
		return err
	}
	if w.pos+4 > w.size {
		return ErrCut
	}
	n := int(binary.LittleEndian.Uint16(w.src[w.pos:]))
	if n^0xFFFF != int(binary.LittleEndian.Uint16(w.src[w.pos+2:])) {
		return fmt.Errorf("%w: the length of a stored block", ErrCorrupt)
	}
	w.pos += 4
	if w.pos+n > w.size {
		return ErrCut
	}
	for len(w.dst)-w.n < n+slack {
		if !w.grow() {
			return ErrTooLong
		}
	}
	w.n += copy(w.dst[w.n:], w.src[w.pos:w.pos+n])
	w.pos += n
	if w.n > w.max {
		return ErrTooLong
	}
	return nil
}

// grow makes dst larger, up to what max needs; false when it is that large.
func (w *work) grow() bool {
	most := w.max + 1 + slack
	if len(w.dst) >= most {
		return false
	}
	grown := make([]byte, min(most, 2*len(w.dst)+slack))
	copy(grown, w.dst[:w.n])
	w.dst = grown
	return true
}
