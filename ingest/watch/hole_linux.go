package watch

import (
	"io"
	"os"
)

const seekHole = 4 // SEEK_HOLE, lseek(2)

// firstHole gives where the file first has no bytes of its own: a hole, or space
// set aside and not written. Allocated blocks are not counted, for a file system
// that compresses has fewer of them than the size needs.
func firstHole(f *os.File, size int64) (at int64, found bool) {
	at, err := f.Seek(0, seekHole)
	if _, back := f.Seek(0, io.SeekStart); err != nil || back != nil {
		return 0, false // not known on this file system; the zero bytes will show
	}
	return at, at < size
}
