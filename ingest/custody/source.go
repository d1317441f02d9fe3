package custody

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"underbond/ingest/custody/faultpoint"
)

// Source is a file to be read. It is only ever opened for reading.
type Source struct {
	// Root, when set, is the folder that Path is relative to and that no link
	// on the way may lead out of.
	Root string
	// Path names the file; with the system's separators.
	Path string
	// Want, when not zero, is what the file looked like when it was found ready.
	// A file that no longer looks so is ErrChanged.
	Want Identity
}

func (s Source) String() string { return Printable([]byte(filepath.Join(s.Root, s.Path))) }

// Open opens the source for reading without following a link or waiting for a
// pipe, and gives its identity. The errors wrap ErrNotRegular, ErrChanged or the
// system's answer (fs.ErrNotExist, fs.ErrPermission).
func (s Source) Open() (*os.File, Identity, error) {
	looked, file, err := s.lookAndOpen()
	if err != nil {
		return nil, Identity{}, fmt.Errorf("open %s: %w", s, err)
	}
	info, err := file.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = ErrNotRegular
	}
	if err == nil && !os.SameFile(looked, info) {
		err = ErrChanged
	}
	if err != nil {
		return nil, Identity{}, errors.Join(fmt.Errorf("open %s: %w", s, err), file.Close())
	}
	id := IdentityOf(info)
	if s.Want != (Identity{}) && id != s.Want && !faultpoint.Off("changed-check") {
		return nil, Identity{}, errors.Join(fmt.Errorf("open %s: it is not the file that was found ready: %w", s, ErrChanged), file.Close())
	}
	return file, id, nil
}

// lookAndOpen looks at the file without following a link, and opens it when it
// is a regular one.
func (s Source) lookAndOpen() (fs.FileInfo, *os.File, error) {
	lstat, open := os.Lstat, os.OpenFile
	if s.Root != "" {
		root, err := os.OpenRoot(s.Root)
		if err != nil {
			return nil, nil, err
		}
		defer root.Close()
		lstat, open = root.Lstat, root.OpenFile
	}
	looked, err := lstat(s.Path)
	if err != nil {
		return nil, nil, err
	}
	if !looked.Mode().IsRegular() {
		return nil, nil, ErrNotRegular
	}
	file, err := open(s.Path, sourceFlags, 0)
	return looked, file, err
}

// copyBlock is how many bytes are read, hashed and written at once.
const copyBlock = 256 << 10

var blocks = sync.Pool{New: func() any { return new([copyBlock]byte) }}

// readThrough reads r to its end, handing each block to use, and gives the hash
// and the count. It stops when ctx ends.
func readThrough(ctx context.Context, r io.Reader, use func([]byte) error) (Hash, int64, error) {
	block := blocks.Get().(*[copyBlock]byte)
	defer blocks.Put(block)
	sum := sha256.New()
	var total int64
	for {
		if err := ctx.Err(); err != nil {
			return Hash{}, total, err
		}
		n, err := r.Read(block[:])
		if n > 0 {
			total += int64(n)
			sum.Write(block[:n])
			if err := use(block[:n]); err != nil {
				return Hash{}, total, err
			}
		}
		if errors.Is(err, io.EOF) {
			var h Hash
			sum.Sum(h[:0])
			return h, total, nil
		}
		if err != nil {
			return Hash{}, total, err
		}
	}
}

// readSource reads an open source to its end and makes sure that the bytes read
// are one state of the file: same size, times and inode before and after.
func (s Source) readSource(ctx context.Context, file *os.File, before Identity, use func([]byte) error) (Hash, error) {
	unchecked := faultpoint.Off("changed-check")
	var seen int64
	hash, size, err := readThrough(ctx, file, func(block []byte) error {
		// A file that grows as fast as it is read would never end.
		if seen += int64(len(block)); seen > before.Size && !unchecked {
			return ErrChanged
		}
		return use(block)
	})
	if err != nil {
		return Hash{}, fmt.Errorf("read %s: %w", s, err)
	}
	info, err := file.Stat()
	if err != nil {
		return Hash{}, fmt.Errorf("look at %s after reading: %w", s, err)
	}
	if unchecked {
		return hash, nil
	}
	if after := IdentityOf(info); after != before || size != before.Size {
		return Hash{}, fmt.Errorf("read %s: %d bytes read, %d before, %d after: %w", s, size, before.Size, after.Size, ErrChanged)
	}
	return hash, nil
}

// Digest hashes the source without keeping anything, with the same care for a
// changing file as Put.
func Digest(ctx context.Context, s Source) (Hash, Identity, error) {
	file, id, err := s.Open()
	if err != nil {
		return Hash{}, Identity{}, err
	}
	hash, err := s.readSource(ctx, file, id, func([]byte) error { return nil })
	if err = errors.Join(err, file.Close()); err != nil {
		return Hash{}, Identity{}, err
	}
	return hash, id, nil
}
