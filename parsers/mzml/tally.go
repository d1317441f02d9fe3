package mzml

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

// tally counts what stands before a position of UTF-8 text, for places.
type tally struct {
	pos        int   // in the buffer
	cont, quad int64 // continuation bytes, characters of four bytes
	lines      int   // line feeds
	lineBytes  int   // bytes since the last line feed
	lineCont   int   // continuation bytes since the last line feed
}

// advance goes on over b.
func (t *tally) advance(b []byte) {
	cont, quad := countWide(b)
	t.pos += len(b)
	t.cont, t.quad = t.cont+cont, t.quad+quad
	n := bytes.Count(b, []byte{'\n'})
	if n == 0 {
		t.lineBytes, t.lineCont = t.lineBytes+len(b), t.lineCont+int(cont)
		return
	}
	t.lines += n
	line := b[bytes.LastIndexByte(b, '\n')+1:]
	c, _ := countWide(line)
	t.lineBytes, t.lineCont = len(line), int(c)
}

// countWide counts the continuation bytes and the leading bytes of four-byte
// characters in UTF-8 text, and passes quickly over ASCII.
func countWide(b []byte) (cont, quad int64) {
	const high = 0x8080808080808080
	word := binary.LittleEndian.Uint64
	for len(b) >= 32 {
		if (word(b)|word(b[8:])|word(b[16:])|word(b[24:]))&high != 0 {
			for i := 0; i < 32; i += 8 {
				w := word(b[i:])
				cont += int64(bits.OnesCount64(w & high &^ (w << 1)))
				quad += int64(bits.OnesCount64(w & (w << 1) & (w << 2) & (w << 3) & high))
			}
		}
		b = b[32:]
	}
	for _, c := range b {
		switch {
		case c&0xC0 == 0x80:
			cont++
		case c >= 0xF0:
			quad++
		}
	}
	return cont, quad
}
