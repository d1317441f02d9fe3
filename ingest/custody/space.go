package custody

import "math"

// DefaultReserve is how many bytes an archive leaves free on its volume, so that
// the journal can still be written when objects no longer fit.
const DefaultReserve = 64 << 20

// entryReserve is how many free file entries (inodes) are left with the reserve.
const entryReserve = 256

// unlimited stands for a volume that does not count file entries.
const unlimited = math.MaxUint64

// room is what a volume has left.
type room struct {
	bytes   uint64
	entries uint64
}

// holds says whether size bytes in one new file leave the reserve untouched.
func (r room) holds(size, reserve uint64) bool {
	return r.bytes >= reserve && r.bytes-reserve >= size && r.entries >= entryReserve
}
