package inflate

import (
	"fmt"
	"math/bits"
)

// An entry of a table has in its low byte how many bits to take. The next byte says how
// many of them are the code, after which come extra bits; the upper half is the literal, or
// the base of the length or distance. Codes longer than the table's index lead to a
// second table: its start in the upper half, the bits of its index in the second byte. 0
// is no code.
const (
	literal     = 1 << 31
	special     = 1 << 30 // end of block or second table
	endOfBlock  = 1 << 29
	distSpecial = 1 << 31 // second table of distances

	litlenBits = 11 // of the index; the tables with all second tables have 2342 and 402 entries at most
	distBits   = 8
)

var (
	lengthBase  = [29]uint16{3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 15, 17, 19, 23, 27, 31, 35, 43, 51, 59, 67, 83, 99, 115, 131, 163, 195, 227, 258}
	lengthExtra = [29]uint8{0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 5, 0}
	distBase    = [30]uint16{1, 2, 3, 4, 5, 7, 9, 13, 17, 25, 33, 49, 65, 97, 129, 193, 257, 385, 513, 769, 1025, 1537, 2049, 3073, 4097, 6145, 8193, 12289, 16385, 24577}
	distExtra   = [30]uint8{0, 0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 8, 9, 9, 10, 10, 11, 11, 12, 12, 13, 13}
	codeOrder   = [19]uint8{16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15}
)

// litlenSymbols are the entries of literals and lengths without their bits: extra bits
// are in the low byte.
var litlenSymbols = func() (t [288]uint32) {
	for i := range 256 {
		t[i] = literal | uint32(i)<<16
	}
	t[256] = special | endOfBlock
	for i, base := range lengthBase {
		t[257+i] = uint32(base)<<16 | uint32(lengthExtra[i])
	}
	return t
}()

// distSymbols are the same of distances.
var distSymbols = func() (t [32]uint32) {
	for i, base := range distBase {
		t[i] = uint32(base)<<16 | uint32(distExtra[i])
	}
	return t
}()

// codeSymbols are the entries of the code lengths of a block.
var codeSymbols = func() (t [19]uint32) {
	for i := range t {
		t[i] = uint32(i)<<16 | 1<<8
	}
	return t
}()

// build makes a decoding table out of code lengths. Codes must use all of the space; as an
// exception there may be none, or a single one of one bit, as deflate writers have it.
// Entries that stay 0 are no code.
func build(table []uint32, symbols []uint32, lengths []uint8, indexBits uint, second uint32) bool {
	var count, offset [17]int
	for _, n := range lengths {
		count[n]++
	}
	used, left := 0, 1<<15
	for n := 1; n <= 15; n++ {
		offset[n+1] = offset[n] + count[n]
		used += count[n]
		left -= count[n] << (15 - n)
	}
	whole := left == 0
	if !whole && !(used == 0 || used == 1 && count[1] == 1) {
		return false
	}
	if !whole {
		clear(table[:1<<indexBits])
		for s, n := range lengths {
			if n == 0 || symbols[s] == 0 {
				continue
			}
			for i := 0; i < 1<<indexBits; i += 2 {
				table[i] = entry(symbols[s], 1)
			}
		}
		return true
	}
	var sorted [320]uint16
	for s, n := range lengths {
		if n != 0 {
			sorted[offset[n]] = uint16(s)
			offset[n]++
		}
	}
	n := uint(1)
	for count[n] == 0 {
		n++
	}
	fill(table, symbols, sorted[:used], &count, n, indexBits, second)
	return true
}

// entry makes the entry of a symbol whose code has so many bits left.
func entry(symbol uint32, n uint) uint32 {
	if symbol == 0 {
		return 0
	}
	return symbol + uint32(n)<<8 + uint32(n)
}

// fill writes a complete table. Codes are taken in their order, which in a table indexed
// by the lowest bit first means counting from the highest bit down.
func fill(table, symbols []uint32, sorted []uint16, count *[17]int, n, indexBits uint, second uint32) {
	code, size := uint(0), uint(1)<<min(n, indexBits)
	ends := uint(1) << indexBits // of all tables so far
	start, subBits, prefix := uint(0), uint(0), ^uint(0)
	left := count[n]
	for _, s := range sorted {
		for left == 0 {
			n++
			left = count[n]
			if n <= indexBits {
				copy(table[size:2*size], table[:size])
				size *= 2
			}
		}
		left--
		if n <= indexBits {
			table[code] = entry(symbols[s], n)
		} else {
			if code&(1<<indexBits-1) != prefix {
				prefix = code & (1<<indexBits - 1)
				start, subBits = ends, n-indexBits
				for space := left + 1; space < 1<<subBits; {
					subBits++
					space = space<<1 + count[indexBits+subBits]
				}
				ends = start + 1<<subBits
				table[prefix] = second | uint32(start)<<16 | uint32(subBits)<<8 | uint32(indexBits)
			}
			e := entry(symbols[s], n-indexBits)
			for i := start + code>>indexBits; i < ends; i += 1 << (n - indexBits) {
				table[i] = e
			}
		}
		// The next code: the highest bit that is 0 becomes 1, those above it 0.
		if bit := uint(bits.Len(code ^ (1<<n - 1))); bit > 0 {
			code = code&(1<<(bit-1)-1) | 1<<(bit-1)
		}
	}
	for size < 1<<indexBits {
		copy(table[size:2*size], table[:size])
		size *= 2
	}
}

// fixed makes the tables of fixed codes.
func (d *Decoder) fixed() {
	lengths := d.lengths[:320]
	for i := range 288 {
		switch {
		case i < 144:
			lengths[i] = 8
		case i < 256:
			lengths[i] = 9
		case i < 280:
			lengths[i] = 7
		default:
			lengths[i] = 8
		}
	}
	for i := 288; i < 320; i++ {
		lengths[i] = 5
	}
	build(d.litlen[:], litlenSymbols[:], lengths[:288], litlenBits, special)
	build(d.dist[:], distSymbols[:], lengths[288:], distBits, distSpecial)
}

// codes reads the codes of a block and makes their tables.
func (w *work) codes(d *Decoder) error {
	if err := w.refill(); err != nil {
		return err
	}
	litlens, dists, n := w.take(5)+257, w.take(5)+1, w.take(4)+4
	if litlens > 286 || dists > 30 {
		return fmt.Errorf("%w: %d and %d codes", ErrCorrupt, litlens, dists)
	}
	var lengths [19]uint8
	for i := range n {
		if w.count < 3 {
			if err := w.refill(); err != nil {
				return err
			}
		}
		lengths[codeOrder[i]] = uint8(w.take(3))
	}
	var table [1 << 7]uint32
	if !build(table[:], codeSymbols[:], lengths[:], 7, special) {
		return fmt.Errorf("%w: the code of code lengths", ErrCorrupt)
	}
	all := d.lengths[:litlens+dists]
	for i := uint(0); i < uint(len(all)); {
		if err := w.refill(); err != nil {
			return err
		}
		e := table[w.bits&(1<<7-1)]
		if e == 0 {
			return fmt.Errorf("%w: a code length", ErrCorrupt)
		}
		w.take(uint(e & 63))
		value, times := uint8(e>>16), uint(1)
		switch value {
		case 16:
			if i == 0 {
				return fmt.Errorf("%w: no code length to repeat", ErrCorrupt)
			}
			value, times = all[i-1], 3+w.take(2)
		case 17:
			value, times = 0, 3+w.take(3)
		case 18:
			value, times = 0, 11+w.take(7)
		}
		if i+times > uint(len(all)) {
			return fmt.Errorf("%w: too many code lengths", ErrCorrupt)
		}
		for range times {
			all[i] = value
			i++
		}
	}
	if !build(d.litlen[:], litlenSymbols[:], all[:litlens], litlenBits, special) ||
		!build(d.dist[:], distSymbols[:], all[litlens:], distBits, distSpecial) {
		return fmt.Errorf("%w: the codes of a block", ErrCorrupt)
	}
	return nil
}
