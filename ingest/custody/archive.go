package custody

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
)

// Archive is a folder of objects, each a read-only file named by the SHA-256 of
// its bytes, at objects/ab/cd/<hash>. Objects are only ever added. Methods may be
// called from several goroutines; several processes need the folder's DirLock.
type Archive struct {
	// Reserve is how many bytes Put leaves free on the volume; DefaultReserve
	// after OpenArchive. Zero leaves nothing. Set before first use.
	Reserve int64

	dir  string
	id   string
	disk disk

	mu      sync.Mutex
	synced  map[string]bool // folders whose own name this process has put on the disk
	suspect map[string]bool // folders whose sync has failed: what is in them may not be on the disk
}

// Object is what the archive holds under one hash.
type Object struct {
	Hash Hash
	Size int64 // bytes
}

// OpenArchive opens the archive in dir and makes it when dir is absent or empty.
// It removes what interrupted copies left, so no other process may be using it.
// An archive that has objects but has lost its id is refused: another id would
// make another archive of it.
func OpenArchive(dir string) (*Archive, error) { return openArchive(dir, disk{}) }

func openArchive(dir string, d disk) (*Archive, error) {
	a := &Archive{Reserve: DefaultReserve, dir: dir, disk: d, synced: map[string]bool{}, suspect: map[string]bool{}}
	if err := a.open(); err != nil {
		return nil, fmt.Errorf("open archive %s: %w", dir, err)
	}
	return a, nil
}

func (a *Archive) open() error {
	if err := a.disk.mkdirDurable(a.dir); err != nil {
		return err
	}
	if err := a.sweep(a.dir, isTemp); err != nil {
		return err
	}
	if err := a.openID(); err != nil {
		return err
	}
	for _, sub := range []string{"objects", "tmp"} {
		if err := a.disk.mkdir(filepath.Join(a.dir, sub)); err != nil {
			return err
		}
	}
	// Whether or not the folders are new: an earlier process may have died between
	// making them and syncing this one.
	if err := a.disk.syncDir(a.dir); err != nil {
		return err
	}
	return a.sweep(filepath.Join(a.dir, "tmp"), func(string) bool { return true })
}

// openID reads the archive's id, or gives a new archive one before it can hold
// anything.
func (a *Archive) openID() error {
	path := filepath.Join(a.dir, "archive-id")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Lstat(filepath.Join(a.dir, "objects")); err == nil {
			return fmt.Errorf("read %s: the archive has objects but no id: restore the file from a backup: %w", path, fs.ErrNotExist)
		}
		a.id = newUUID()
		return a.disk.writeDurable(path, []byte(a.id+"\n"))
	}
	if err != nil {
		return err
	}
	a.id = strings.TrimSpace(string(text))
	if !isUUID(a.id) {
		return fmt.Errorf("read %s: %q is not an id: restore the file from a backup", path, a.id)
	}
	return nil
}

// sweep removes the files in dir that an interrupted write left.
func (a *Archive) sweep(dir string, leftover func(name string) bool) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		if entry.Type().IsRegular() && leftover(entry.Name()) {
			if err := a.disk.unlink(filepath.Join(dir, entry.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// ID is the archive's random id, made once and never changed.
func (a *Archive) ID() string { return a.id }

// Path says where the object of that hash lies, or would lie.
func (a *Archive) Path(h Hash) string { return filepath.Join(a.folder(h), h.String()) }

func (a *Archive) folder(h Hash) string {
	name := h.String()
	return filepath.Join(a.dir, "objects", name[:2], name[2:4])
}

// Open opens an object for reading. An absent one is ErrMissing. The bytes are
// not checked; see Verify.
func (a *Archive) Open(h Hash) (*os.File, error) {
	f, err := os.Open(a.Path(h))
	if err != nil {
		return nil, a.objectError("open", h, err)
	}
	return f, nil
}

// Stat says how large an object is. An absent one is ErrMissing.
func (a *Archive) Stat(h Hash) (Object, error) {
	info, err := os.Lstat(a.Path(h))
	if err == nil && !info.Mode().IsRegular() {
		err = ErrNotRegular
	}
	if err != nil {
		return Object{}, a.objectError("look at", h, err)
	}
	return Object{Hash: h, Size: info.Size()}, nil
}

// Has says whether the archive holds an object; an error means that it cannot be told.
func (a *Archive) Has(h Hash) (bool, error) {
	_, err := a.Stat(h)
	if errors.Is(err, ErrMissing) {
		return false, nil
	}
	return err == nil, err
}

// Verify reads an object and compares its hash with its name. A difference is a
// *CorruptObjectError, an absent object ErrMissing.
func (a *Archive) Verify(ctx context.Context, h Hash) (Object, error) {
	f, err := a.Open(h)
	if err != nil {
		return Object{}, err
	}
	got, size, err := readThrough(ctx, f, func([]byte) error { return nil })
	if err = errors.Join(err, f.Close()); err != nil {
		return Object{}, a.objectError("read", h, err)
	}
	if got != h {
		return Object{}, &CorruptObjectError{Want: h, Got: got, Size: size, Path: a.Path(h)}
	}
	return Object{Hash: h, Size: size}, nil
}

// ReadBytes reads a whole object that is at most limit bytes and checks it
// against its name.
func (a *Archive) ReadBytes(ctx context.Context, h Hash, limit int64) ([]byte, error) {
	f, err := a.Open(h)
	if err != nil {
		return nil, err
	}
	var content []byte
	got, size, err := readThrough(ctx, io.LimitReader(f, limit+1), func(block []byte) error {
		content = append(content, block...)
		return nil
	})
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, a.objectError("read", h, err)
	}
	if size > limit {
		return nil, a.objectError("read", h, fmt.Errorf("it has more than %d bytes", limit))
	}
	if got != h {
		return nil, &CorruptObjectError{Want: h, Got: got, Size: size, Path: a.Path(h)}
	}
	return content, nil
}

// Each calls visit for every object, in order of the hash. It stops at the first
// error, its own or visit's. Files that are not named as objects are an error.
func (a *Archive) Each(ctx context.Context, visit func(Object) error) error {
	top := filepath.Join(a.dir, "objects")
	return filepath.WalkDir(top, func(path string, entry fs.DirEntry, err error) error {
		if err = errors.Join(err, ctx.Err()); err != nil {
			return fmt.Errorf("list archive objects at %s: %w", path, err)
		}
		if entry.IsDir() {
			return nil
		}
		h, err := ParseHash(entry.Name())
		if err != nil || a.Path(h) != path {
			return fmt.Errorf("list archive objects: %s is not named as an object", path)
		}
		object, err := a.Stat(h)
		if err != nil {
			return err
		}
		return visit(object)
	})
}

func (a *Archive) objectError(doing string, h Hash, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s object %s in archive %s: %w", doing, h, a.id, ErrMissing)
	}
	return fmt.Errorf("%s object %s in archive %s: %w", doing, h, a.id, err)
}

const tempSuffix = ".new-file"

// tempName gives a short name that nothing else has.
func tempName() string { return rand.Text() + tempSuffix }

func isTemp(name string) bool { return strings.HasSuffix(name, tempSuffix) }

// newUUID gives a random UUID (version 4, RFC 9562).
func newUUID() string {
	var b [16]byte
	rand.Read(b[:]) // cannot fail
	b[6] = b[6]&0x0f | 0x40
	b[8] = b[8]&0x3f | 0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}

func isUUID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i, c := range s {
		switch {
		case i == 8 || i == 13 || i == 18 || i == 23:
			if c != '-' {
				return false
			}
		case !strings.ContainsRune("0123456789abcdef", c):
			return false
		}
	}
	return true
}
