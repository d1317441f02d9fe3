package watch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"sync"
	"time"

	"underbond/ingest/custody"
	"underbond/ingest/custody/faultpoint"
)

// root is the working state of one watched folder. Everything but state belongs
// to whoever holds scanning.
type root struct {
	Root
	opts *Options

	scanning   sync.Mutex
	files      map[string]*file
	scans      uint64          // begun so far
	identity   fs.FileInfo     // of the folder last scanned; nil before
	special    map[string]bool // links and the like found by the last scan
	unreadable []FileState     // folders that the last scan could not list
	skewed     bool            // a source time in the future was reported
	hints      *hints          // nil without notifications

	mu    sync.Mutex
	state RootState
}

func newRoot(r Root, opts *Options) *root {
	w := &root{Root: r, opts: opts, files: map[string]*file{}, special: map[string]bool{}}
	w.state = RootState{Name: r.Name, Path: r.Path, Instrument: r.Instrument, Status: StatusStarting, Since: opts.Now()}
	return w
}

// know puts what was taken before among the files.
func (r *root) know(k Known) {
	r.files[string(k.Path)] = &file{taken: true, hash: k.Hash, id: custody.Identity{Size: k.Size, Mtime: k.Mtime.UnixNano()}}
}

func (r *root) report(kind EventKind, rel, detail string) {
	e := Event{Kind: kind, Root: r.Name, Detail: detail, At: r.opts.Now()}
	if rel != "" {
		e.Path = []byte(rel)
	}
	r.opts.Report(e)
}

// scan looks at every file once, hands over what is ready and reads some taken
// files again. Only the end of the context is an error; whatever is wrong with the
// folder is in the state.
func (r *root) scan(ctx context.Context) error {
	r.scanning.Lock()
	defer r.scanning.Unlock()
	started := r.opts.Now()
	r.update(func(s *RootState) { s.ScanStarted = started })
	defer func() {
		r.publish()
		now := r.opts.Now()
		r.update(func(s *RootState) { s.ScanStarted, s.LastScan, s.ScanDuration = time.Time{}, now, now.Sub(started) })
	}()
	folder, err := r.enter()
	if err != nil {
		r.offline(err)
		return ctx.Err()
	}
	defer folder.Close()
	r.online()
	if err := r.compare(ctx, folder); err != nil {
		if ctx.Err() == nil {
			r.offline(err)
		}
		return ctx.Err()
	}
	r.publish()
	if err := r.handOver(ctx); err != nil {
		return err
	}
	if faultpoint.Off("rehash") {
		return nil
	}
	return r.rehash(ctx)
}

// enter opens the folder if it is the one to watch.
func (r *root) enter() (*os.Root, error) {
	folder, err := os.OpenRoot(r.Path)
	if err != nil {
		return nil, err
	}
	if err := r.recognise(folder); err != nil {
		return nil, errors.Join(err, folder.Close())
	}
	return folder, nil
}

// recognise makes sure that the opened folder is the one to watch: an empty one
// in its place is the bare mount point of a share that is away.
func (r *root) recognise(folder *os.Root) error {
	if r.Marker != "" {
		if _, err := folder.Lstat(r.Marker); err != nil {
			return fmt.Errorf("the marker file is not there: is the share mounted? %w", err)
		}
	}
	info, err := folder.Stat(".")
	if err != nil {
		return err
	}
	if r.identity != nil && !os.SameFile(r.identity, info) {
		empty, err := isEmpty(folder)
		if err != nil {
			return err
		}
		if empty {
			return errors.New("the folder is another one than before, and empty: is the share mounted?")
		}
		if r.hints != nil {
			r.hints.forget()
		}
	}
	r.identity = info
	return nil
}

func isEmpty(folder *os.Root) (bool, error) {
	dir, err := folder.Open(".")
	if err != nil {
		return false, err
	}
	defer dir.Close()
	if _, err = dir.Readdirnames(1); errors.Is(err, io.EOF) {
		return true, nil
	}
	return false, err
}

// compare brings the files up to date with what lies in the folder. On an error
// the folder itself cannot be read, and nothing counts as gone.
func (r *root) compare(ctx context.Context, folder *os.Root) error {
	r.scans++
	if r.hints != nil {
		r.hints.refresh()
	}
	walk := walker{r: r, folder: folder, special: map[string]bool{}}
	err := walk.run(ctx)
	if err == nil {
		err = r.stillThere()
	}
	if err != nil {
		return err
	}
	r.special, r.unreadable = walk.special, walk.unreadable
	for rel, f := range r.files {
		if f.scan == r.scans || walk.skipped(rel) {
			continue
		}
		f.present = false
		if !f.taken {
			r.report(EventVanished, rel, fmt.Sprintf("seen for %s with %d bytes, last waiting %s", f.seen.Sub(f.first), f.id.Size, f.waiting))
			delete(r.files, rel)
		}
	}
	if r.hints != nil {
		r.hints.keepOnly(walk.folders)
	}
	return nil
}

// stillThere makes sure that what was scanned is still what the path means.
func (r *root) stillThere() error {
	info, err := os.Stat(r.Path)
	if err != nil {
		return err
	}
	if !os.SameFile(info, r.identity) {
		return errors.New("the folder became another one while it was scanned")
	}
	return nil
}

func (r *root) offline(cause error) {
	if r.setStatus(StatusOffline, cause.Error()) {
		r.report(EventOffline, "", cause.Error())
	}
}

func (r *root) online() {
	if r.setStatus(StatusOnline, "") {
		r.report(EventOnline, "", "")
	}
}

// setStatus says whether the status is new.
func (r *root) setStatus(status Status, reason string) (changed bool) {
	now := r.opts.Now()
	r.update(func(s *RootState) {
		changed = s.Status != status
		if changed {
			s.Since = now
		}
		s.Status, s.Reason = status, reason
	})
	return changed
}

// skipped says whether the path lies in a folder that could not be listed.
func (w *walker) skipped(rel string) bool {
	for _, dir := range w.unreadable {
		if strings.HasPrefix(rel, string(dir.Path)+"/") {
			return true
		}
	}
	return false
}
