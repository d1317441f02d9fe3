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

	"underbond/ingest/custody/faultpoint"
)

// Receipt says that an object is in the archive and on the disk.
type Receipt struct {
	Object
	// Existed: the archive held these bytes already.
	Existed bool
	// Source is what the file looked like while it was copied; zero when the
	// bytes did not come from a file.
	Source Identity
}

// Outcome is what became of one source of PutMany: a receipt or an error.
type Outcome struct {
	Receipt Receipt
	Err     error
}

// groupFiles is how many files share their syncs. Each holds a file open.
const groupFiles = 64

// Put copies one file into the archive and returns when it is on the disk. Doing
// so again changes nothing. The errors wrap ErrChanged or fs.ErrNotExist (look
// again later), ErrNotRegular, *NoSpaceError (later, once there is room),
// *CorruptObjectError (the archive holds other bytes under this name), or the
// system's answer. After an error nothing is left behind.
func (a *Archive) Put(ctx context.Context, s Source) (Receipt, error) {
	outcome := a.PutMany(ctx, []Source{s})[0]
	return outcome.Receipt, outcome.Err
}

// PutMany does as Put for many files and lets groups of them share the syncs,
// which makes small files several times faster. Outcomes are in the order of
// sources, and one file's error does not stop the others.
func (a *Archive) PutMany(ctx context.Context, sources []Source) []Outcome {
	outcomes := make([]Outcome, len(sources))
	for start := 0; start < len(sources); start += groupFiles {
		end := min(start+groupFiles, len(sources))
		group := make([]*staged, 0, end-start)
		for i, s := range sources[start:end] {
			group = append(group, a.stageSource(ctx, s, &outcomes[start+i]))
		}
		a.publish(group)
	}
	return outcomes
}

// PutReader does as Put for the bytes of r, which it reads to the end.
func (a *Archive) PutReader(ctx context.Context, r io.Reader) (Receipt, error) {
	var outcome Outcome
	st := a.stage(&outcome, -1, func(use func([]byte) error) (Hash, error) {
		hash, _, err := readThrough(ctx, r, use)
		if err != nil {
			err = fmt.Errorf("read the bytes for the archive: %w", err)
		}
		return hash, err
	})
	a.publish([]*staged{st})
	return outcome.Receipt, outcome.Err
}

// PutBytes does as Put for bytes in memory, such as a reduction or an
// evaluation's input.
func (a *Archive) PutBytes(ctx context.Context, content []byte) (Receipt, error) {
	if err := ctx.Err(); err != nil {
		return Receipt{}, fmt.Errorf("put bytes into the archive: %w", err)
	}
	var outcome Outcome
	st := a.stage(&outcome, int64(len(content)), func(use func([]byte) error) (Hash, error) {
		return HashOf(content), use(content)
	})
	a.publish([]*staged{st})
	return outcome.Receipt, outcome.Err
}

// staged is one temporary file on its way to becoming an object.
type staged struct {
	outcome *Outcome // where the end is told; its Err says that this one has failed
	temp    string   // empty when there is no temporary file (any more)
	file    *os.File // open until synced
}

// fail ends this one's way.
func (st *staged) fail(err error) { st.outcome.Err = errors.Join(st.outcome.Err, err) }

func (st *staged) ok() bool { return st.outcome.Err == nil }

// stageSource copies a file into a temporary one.
func (a *Archive) stageSource(ctx context.Context, s Source, outcome *Outcome) *staged {
	file, id, err := s.Open()
	if err != nil {
		outcome.Err = err
		return &staged{outcome: outcome}
	}
	outcome.Receipt.Source = id
	st := a.stage(outcome, id.Size, func(use func([]byte) error) (Hash, error) { return s.readSource(ctx, file, id, use) })
	if err := file.Close(); err != nil {
		st.fail(fmt.Errorf("close %s: %w", s, err))
	}
	return st
}

// stage makes a temporary file from what read hands on. size is the number of
// bytes to expect, or -1.
func (a *Archive) stage(outcome *Outcome, size int64, read func(use func([]byte) error) (Hash, error)) *staged {
	st := &staged{outcome: outcome}
	temp := filepath.Join(a.dir, "tmp", tempName())
	if err := a.checkRoom(temp, size); err != nil {
		st.fail(err)
		return st
	}
	f, err := a.disk.create(temp)
	if err != nil {
		st.fail(err)
		return st
	}
	st.temp, st.file = temp, f
	var written int64
	hash, err := read(func(block []byte) error {
		written += int64(len(block))
		return a.disk.write(f, block)
	})
	if err == nil {
		err = f.Chmod(0o440)
	}
	if err != nil {
		st.fail(err)
		return st
	}
	if faultpoint.Off("content-address") {
		hash = HashOf([]byte(rand.Text()))
	}
	outcome.Receipt.Object = Object{Hash: hash, Size: written}
	return st
}

// checkRoom refuses what would use up the reserve.
func (a *Archive) checkRoom(path string, size int64) error {
	if a.Reserve <= 0 {
		return nil
	}
	space, known := freeSpace(a.dir)
	if known && !space.holds(uint64(max(size, 0)), uint64(a.Reserve)) {
		return &NoSpaceError{Op: "create", Path: path}
	}
	return nil
}

// publish brings staged files to the disk under their names: every file's bytes,
// then every name, then every folder. Only then is anything acknowledged. It
// settles each one's outcome and leaves no temporary file.
func (a *Archive) publish(group []*staged) {
	for _, st := range group {
		if st.file == nil {
			continue
		}
		if st.ok() {
			if err := a.disk.syncFile(st.file, "file-sync"); err != nil {
				st.fail(err) // never synced again: the temporary file is thrown away
			}
		}
		if err := st.file.Close(); err != nil {
			st.fail(err)
		}
	}
	for _, st := range group {
		if st.ok() {
			if err := a.name(st); err != nil {
				st.fail(err)
			}
		}
	}
	a.syncFolders(group)
	for _, st := range group {
		if st.temp != "" {
			if err := a.disk.unlink(st.temp); err != nil && !st.ok() {
				st.fail(err) // a leftover beside a success is swept at the next start
			}
		}
		if !st.ok() {
			st.outcome.Receipt = Receipt{}
		}
	}
}

// name gives a synced temporary file its object name, unless the archive has
// that object.
func (a *Archive) name(st *staged) error {
	receipt := &st.outcome.Receipt
	existed, err := a.holds(receipt.Object)
	if err != nil {
		return err
	}
	folder := a.folder(receipt.Hash)
	receipt.Existed = existed
	if existed && !a.isSuspect(folder) {
		return nil
	}
	for _, dir := range []string{filepath.Dir(folder), folder} {
		if !a.isSynced(dir) {
			if err := a.disk.mkdir(dir); err != nil {
				return err
			}
		}
	}
	if err := a.disk.rename(st.temp, a.Path(receipt.Hash)); err != nil {
		// Where a name cannot be taken over, another goroutine may have been first.
		if there, holdsErr := a.holds(receipt.Object); holdsErr != nil || !there {
			return errors.Join(err, holdsErr)
		}
		receipt.Existed = true
		return nil
	}
	st.temp = ""
	return nil
}

// holds says whether the object is there. One of another size is damage.
func (a *Archive) holds(want Object) (bool, error) {
	info, err := os.Lstat(a.Path(want.Hash))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, a.objectError("look at", want.Hash, err)
	}
	if info.Size() != want.Size || !info.Mode().IsRegular() {
		return false, &CorruptObjectError{Want: want.Hash, Size: info.Size(), Path: a.Path(want.Hash)}
	}
	return true, nil
}

// syncFolders puts the names of the group's objects on the disk: each folder
// once, and the folders above it once in this process's life, for they may be
// new, or made by a process that died before it could sync them.
func (a *Archive) syncFolders(group []*staged) {
	done := map[string]error{}
	sync := func(dir string) error {
		err, known := done[dir]
		if !known {
			err = a.disk.syncDir(dir)
			done[dir] = err
			if err != nil {
				a.mark(a.suspect, dir)
			}
		}
		return err
	}
	for _, st := range group {
		if !st.ok() {
			continue
		}
		folder := a.folder(st.outcome.Receipt.Hash)
		err := sync(folder)
		for dir := folder; err == nil && dir != filepath.Join(a.dir, "objects") && !a.isSynced(dir); dir = filepath.Dir(dir) {
			if err = sync(filepath.Dir(dir)); err == nil {
				a.mark(a.synced, dir)
			}
		}
		if err != nil {
			st.fail(err)
		}
	}
}

func (a *Archive) isSynced(dir string) bool  { return a.marked(a.synced, dir) }
func (a *Archive) isSuspect(dir string) bool { return a.marked(a.suspect, dir) }

func (a *Archive) marked(set map[string]bool, dir string) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return set[dir]
}

func (a *Archive) mark(set map[string]bool, dir string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	set[dir] = true
}
