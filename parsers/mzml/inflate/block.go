package inflate

import "encoding/binary"

// block decompresses a block of Huffman codes.
func (w *work) block(d *Decoder) error {
	const (
		litlenMask = 1<<litlenBits - 1
		distMask   = 1<<distBits - 1
	)
	src, dst := w.src, w.dst
	pos, bits, count, n := w.pos, w.bits, w.count, w.n
	limit, safe := w.size+8, len(dst)-slack
	litlen, dist := &d.litlen, &d.dist
	for {
		if n >= safe {
			if w.n = n; !w.grow() {
				return ErrTooLong
			}
			dst = w.dst
			safe = len(dst) - slack
			continue
		}
		if pos > limit {
			w.n = n
			return ErrCut
		}
		bits |= binary.LittleEndian.Uint64(src[pos:]) << (count & 63)
		pos += int((63 - count) >> 3)
		count |= 56

		e := litlen[bits&litlenMask]
		if e&literal != 0 {
			bits >>= e & 63
			count -= uint(e & 63)
			dst[n] = byte(e >> 16)
			n++
			e = litlen[bits&litlenMask]
			if e&literal != 0 {
				bits >>= e & 63
				count -= uint(e & 63)
				dst[n] = byte(e >> 16)
				n++
				e = litlen[bits&litlenMask]
				if e&literal != 0 {
					bits >>= e & 63
					count -= uint(e & 63)
					dst[n] = byte(e >> 16)
					n++
					continue
				}
			}
			// At least 34 bits are left, and the rest may need 48.
			if pos > limit {
				w.n = n
				return ErrCut
			}
			bits |= binary.LittleEndian.Uint64(src[pos:]) << (count & 63)
			pos += int((63 - count) >> 3)
			count |= 56
		}
		if e&special != 0 {
			if e&endOfBlock == 0 {
				bits >>= litlenBits
				count -= litlenBits
				e = litlen[(e>>16&0x0FFF+uint32(bits)&(1<<(e>>8&15)-1))&(1<<12-1)]
				if e&literal != 0 {
					bits >>= e & 63
					count -= uint(e & 63)
					dst[n] = byte(e >> 16)
					n++
					continue
				}
			}
			if e&endOfBlock != 0 {
				bits >>= e & 63
				count -= uint(e & 63)
				w.pos, w.bits, w.count, w.n = pos, bits, count, n
				if n > w.max {
					return ErrTooLong
				}
				return nil
			}
		}
		if e == 0 {
			w.n = n
			return ErrCorrupt
		}
		length := int(e>>16) + int(bits>>(e>>8&63)&(1<<(e&63-e>>8&63)-1))
		bits >>= e & 63
		count -= uint(e & 63)

		e = dist[bits&distMask]
		if e&distSpecial != 0 {
			bits >>= distBits
			count -= distBits
			e = dist[(e>>16&0x0FFF+uint32(bits)&(1<<(e>>8&15)-1))&(1<<10-1)]
		}
		from := n - int(e>>16) - int(bits>>(e>>8&63)&(1<<(e&63-e>>8&63)-1))
		bits >>= e & 63
		count -= uint(e & 63)
		if e == 0 || from < 0 {
			w.n = n
			return ErrCorrupt
		}
		end := n + length
		switch back := n - from; {
		case back >= 8:
			for n < end { // whole words; what is too much is overwritten
				binary.LittleEndian.PutUint64(dst[n:], binary.LittleEndian.Uint64(dst[from:]))
				n, from = n+8, from+8
			}
		case back == 1:
			for same := uint64(dst[from]) * 0x0101010101010101; n < end; n += 8 {
				binary.LittleEndian.PutUint64(dst[n:], same)
			}
		default:
			for ; n < end; n++ {
				dst[n] = dst[from]
				from++
			}
		}
		n = end
	}
}
