package watch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"underbond/ingest/custody"
)

// names is how many names of a folder are in memory at once.
const names = 512

// clockSkew is how far in the future a source's time may lie without remark.
const clockSkew = 5 * time.Minute

// walker goes once through a root without ever leaving it or following a link.
type walker struct {
	r       *root
	folder  *os.Root
	special map[string]bool
	// unreadable lists the folders that are there but could not be listed.
	unreadable []FileState
	folders    map[string]bool // that were listed
}

// run visits every folder. An error means that the root itself cannot be read.
func (w *walker) run(ctx context.Context) error {
	w.folders = map[string]bool{}
	queue := []string{"."}
	for len(queue) > 0 {
		if err := ctx.Err(); err != nil {
			return err
		}
		dir := queue[0]
		queue = queue[1:]
		below, err := w.list(ctx, dir)
		queue = append(queue, below...)
		switch {
		case err == nil || dir != "." && errors.Is(err, fs.ErrNotExist): // gone since its parent was listed
		case dir == ".", ctx.Err() != nil:
			return err
		default:
			w.unreadable = append(w.unreadable, FileState{Path: []byte(dir), PathText: custody.Printable([]byte(dir)), Waiting: err.Error(), Blocked: true})
		}
	}
	return nil
}

// list looks at everything in one folder and gives the folders in it.
func (w *walker) list(ctx context.Context, dir string) (below []string, err error) {
	handle, err := w.open(dir)
	if err != nil {
		return nil, err
	}
	defer handle.Close()
	// First the watch, then the list: what comes in between is seen by one of them.
	if w.r.hints != nil {
		w.r.watchFolder(dir, handle)
	}
	w.folders[dir] = true
	opened, err := handle.Open(".")
	if err != nil {
		return nil, err
	}
	defer opened.Close()
	for {
		entries, err := opened.ReadDir(names)
		for _, entry := range entries {
			rel := path.Join(dir, entry.Name())
			isDir, err := w.look(handle, entry, rel)
			if err != nil {
				return below, err
			}
			if isDir {
				below = append(below, rel)
			}
		}
		if errors.Is(err, io.EOF) {
			return below, nil
		}
		if err = errors.Join(err, ctx.Err()); err != nil {
			return below, err
		}
	}
}

// open opens a folder that is no link.
func (w *walker) open(dir string) (*os.Root, error) {
	name := filepath.FromSlash(dir)
	looked, err := w.folder.Lstat(name)
	if err != nil {
		return nil, err
	}
	if !looked.IsDir() {
		return nil, fmt.Errorf("open folder %s: it became something else: %w", custody.Printable([]byte(dir)), fs.ErrNotExist)
	}
	handle, err := w.folder.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	opened, err := handle.Stat(".")
	if err == nil && !os.SameFile(looked, opened) {
		err = fmt.Errorf("open folder %s: it became another one: %w", custody.Printable([]byte(dir)), fs.ErrNotExist)
	}
	if err != nil {
		return nil, errors.Join(err, handle.Close())
	}
	return handle, nil
}

// look tells the file, if it is one to watch, what it looks like now.
func (w *walker) look(dir *os.Root, entry fs.DirEntry, rel string) (isDir bool, err error) {
	name := entry.Name()
	switch kind := entry.Type(); {
	case kind.IsDir():
		return !matches(w.r.Ignore, name), nil
	case !w.r.wants(name):
		return false, nil
	case !kind.IsRegular():
		w.pass(rel, kind)
		return false, nil
	}
	info, err := dir.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if !info.Mode().IsRegular() { // became so since it was listed
		w.pass(rel, info.Mode().Type())
		return false, nil
	}
	w.r.observe(rel, custody.IdentityOf(info))
	return false, nil
}

// pass remembers what is passed over and reports it once.
func (w *walker) pass(rel string, kind fs.FileMode) {
	w.special[rel] = true
	if !w.r.special[rel] {
		w.r.report(EventSpecial, rel, fmt.Sprintf("it is %s; only regular files are taken", kindText(kind)))
	}
}

func kindText(kind fs.FileMode) string {
	switch {
	case kind&fs.ModeSymlink != 0:
		return "a symbolic link"
	case kind&fs.ModeNamedPipe != 0:
		return "a named pipe"
	case kind&fs.ModeSocket != 0:
		return "a socket"
	case kind&fs.ModeDevice != 0:
		return "a device"
	default:
		return "something else than a file"
	}
}

// observe tells the file at the path what it looks like now.
func (r *root) observe(rel string, id custody.Identity) {
	f := r.files[rel]
	if f == nil {
		f = &file{}
		r.files[rel] = f
	}
	now := r.opts.Now()
	f.observe(id, r.scans, now)
	if ahead := id.ModTime().Sub(now); ahead > clockSkew && !r.skewed {
		r.skewed = true
		r.report(EventClockSkew, rel, fmt.Sprintf("its modification time %s lies %s ahead; the times of this source are kept but not relied on",
			id.ModTime().Format(time.RFC3339), ahead.Round(time.Second)))
	}
}
