package custody

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"underbond/ingest/custody/faultpoint"
)

// disk is the seam through which every durable operation goes. The zero value
// is the real disk. A test may set fault, which is asked before each operation
// and whose error takes the operation's place.
type disk struct {
	fault func(op, path string) error
}

// do runs one operation between its two fault points and gives a full volume
// its own error type.
func (d disk) do(op, path string, run func() error) error {
	point := faultpoint.Before(op)
	defer point.After()
	if d.fault != nil {
		if err := d.fault(op, path); err != nil {
			return located(op, path, err)
		}
	}
	return located(op, path, run())
}

// located makes sure that an error says what was done to which file.
func located(op, path string, err error) error {
	if err == nil {
		return nil
	}
	if isNoSpace(err) {
		return &NoSpaceError{Op: op, Path: path, Err: err}
	}
	if pathErr, ok := errors.AsType[*fs.PathError](err); ok && pathErr.Path == path {
		return err
	}
	return fmt.Errorf("%s %s: %w", op, path, err)
}

// create makes a new file for writing; an existing one is an error.
func (d disk) create(path string) (file *os.File, err error) {
	err = d.do("create", path, func() (err error) {
		file, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		return err
	})
	return file, err
}

// openAppend opens a file for reading and appending and makes it when absent.
func (d disk) openAppend(path string) (file *os.File, err error) {
	err = d.do("create", path, func() (err error) {
		file, err = os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o600)
		return err
	})
	return file, err
}

// write writes all of p; a short write is an error.
func (d disk) write(f *os.File, p []byte) error {
	return d.do("write", f.Name(), func() error {
		_, err := f.Write(p)
		return err
	})
}

// truncate cuts the file to size bytes.
func (d disk) truncate(f *os.File, size int64) error {
	return d.do("truncate", f.Name(), func() error { return f.Truncate(size) })
}

// syncFile returns once the file's bytes and attributes are on the disk. After
// an error the bytes are in doubt for good: the kernel may have dropped them and
// call the next sync a success, so the caller must write them anew.
func (d disk) syncFile(f *os.File, protection string) error {
	if faultpoint.Off(protection) {
		return nil
	}
	return d.do("sync", f.Name(), f.Sync)
}

// rename moves a file within the volume.
func (d disk) rename(from, to string) error {
	return d.do("rename", to, func() error { return os.Rename(from, to) })
}

// unlink removes a file; one that is gone already is no error.
func (d disk) unlink(path string) error {
	return d.do("unlink", path, func() error {
		if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	})
}

// mkdir makes one folder; an existing one is no error.
func (d disk) mkdir(path string) error {
	return d.do("mkdir", path, func() error {
		if err := os.Mkdir(path, 0o700); !errors.Is(err, fs.ErrExist) {
			return err
		}
		return nil
	})
}

// syncDir returns once the names in the folder are on the disk.
func (d disk) syncDir(path string) error {
	if faultpoint.Off("dir-sync") {
		return nil
	}
	return d.do("sync folder", path, func() error { return syncFolder(path) })
}

// mkdirDurable makes a folder and those above it, each with its name on the disk.
// The name of an existing one is synced too, for the process that made it may
// have died before it could.
func (d disk) mkdirDurable(path string) error {
	if info, err := os.Stat(path); err == nil {
		if !info.IsDir() {
			return fmt.Errorf("make folder %s: a file of that name is there", path)
		}
		if err := d.syncDir(filepath.Dir(path)); !errors.Is(err, fs.ErrPermission) {
			return err
		}
		return nil // a folder above that we may not open is not of our making
	}
	parent := filepath.Dir(path)
	if parent != path {
		if err := d.mkdirDurable(parent); err != nil {
			return err
		}
	}
	if err := d.mkdir(path); err != nil {
		return err
	}
	return d.syncDir(parent)
}

// writeDurable puts data at path through a temporary file beside it.
func (d disk) writeDurable(path string, data []byte) error {
	temp := filepath.Join(filepath.Dir(path), tempName())
	f, err := d.create(temp)
	if err != nil {
		return err
	}
	err = d.write(f, data)
	if err == nil {
		err = d.syncFile(f, "file-sync")
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = d.rename(temp, path)
	}
	if err != nil {
		return errors.Join(err, d.unlink(temp))
	}
	return d.syncDir(filepath.Dir(path))
}

// WriteFileDurable replaces the file at path with data, or makes it, so that
// after any crash the path holds either all of the old or all of the new bytes;
// when it returns nil, the new ones. The file is readable by its owner only.
func WriteFileDurable(path string, data []byte) error {
	if err := (disk{}).writeDurable(path, data); err != nil {
		return fmt.Errorf("write %s durably: %w", path, err)
	}
	return nil
}
