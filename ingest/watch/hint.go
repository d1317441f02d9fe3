package watch

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/fsnotify/fsnotify"
)

// limitRetry is how long no further folder is watched after the system had no
// room for one.
const limitRetry = 10 * time.Minute

// hints turns notifications into wake-ups. That something happened is all that
// is used of them.
type hints struct {
	watcher   *fsnotify.Watcher
	wake      chan struct{} // holds one wake-up
	overflows atomic.Int64

	// The rest belongs to the scan.
	watched map[string]fs.FileInfo // by folder
	alive   map[string]bool        // paths that the system watched when the scan began
	retryAt time.Time              // until then no more folders are watched
}

// startHints sets notifications up, or says in the state why there are none.
// stop ends them.
func (r *root) startHints() (stop func()) {
	none := func(why string) func() {
		r.poll(why)
		return func() {}
	}
	if r.opts.PollOnly {
		return none("notifications are switched off")
	}
	if why := silent(r.Path); why != "" {
		return none(why)
	}
	watcher, err := fsnotify.NewWatcher()
	if err != nil {
		return none(limitText(err))
	}
	h := &hints{watcher: watcher, wake: make(chan struct{}, 1), watched: map[string]fs.FileInfo{}}
	r.mu.Lock()
	r.hints = h
	r.mu.Unlock()
	done := make(chan struct{})
	go func() {
		defer close(done)
		r.listen(h)
	}()
	return func() {
		watcher.Close() // closes the channels that listen reads; its error is always nil
		<-done
		r.mu.Lock()
		r.hints = nil
		r.mu.Unlock()
	}
}

// poll keeps why scans come at intervals only, and reports it when it is new.
func (r *root) poll(why string) {
	var changed bool
	r.update(func(s *RootState) {
		changed = s.Polling != why
		s.Polling = why
	})
	if changed && why != "" {
		r.report(EventPolling, "", why)
	}
}

// listen turns each notification into a wake-up until the watcher is closed.
func (r *root) listen(h *hints) {
	for {
		select {
		case _, open := <-h.watcher.Events:
			if !open {
				return
			}
		case err, open := <-h.watcher.Errors:
			if !open {
				return
			}
			if errors.Is(err, fsnotify.ErrEventOverflow) {
				h.overflows.Add(1)
				r.report(EventOverflow, "", "more happened than the system keeps notifications for; the folder is scanned")
			}
		}
		select {
		case h.wake <- struct{}{}:
		default:
		}
	}
}

// watchFolder asks for notifications of one folder, unless that was done.
func (r *root) watchFolder(dir string, handle *os.Root) {
	h := r.hints
	info, err := handle.Stat(".")
	if err != nil {
		return // the listing that follows tells it
	}
	path := filepath.Join(r.Path, filepath.FromSlash(dir))
	if before, ok := h.watched[dir]; ok && h.alive[path] && os.SameFile(before, info) {
		return
	}
	now := r.opts.Now()
	if now.Before(h.retryAt) {
		return
	}
	err = h.watcher.Add(path)
	switch {
	case err == nil:
		h.watched[dir] = info
		if !h.retryAt.IsZero() {
			h.retryAt = time.Time{}
			r.poll("")
		}
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrPermission): // the listing tells it
	default:
		h.retryAt = now.Add(limitRetry)
		r.poll(limitText(err))
	}
}

// limitText explains the system's misleading answers.
func limitText(err error) string {
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return fmt.Sprintf("the system's limit of watched folders is reached (Linux: fs.inotify.max_user_watches): %v", err)
	case errors.Is(err, syscall.EMFILE):
		return fmt.Sprintf("the system's limit of watchers or open files is reached (Linux: fs.inotify.max_user_instances): %v", err)
	default:
		return fmt.Sprintf("no notifications: %v", err)
	}
}

// refresh looks which watches are still alive. A folder made anew under its old
// name may even have its old inode, but its watch has ended.
func (h *hints) refresh() {
	h.alive = map[string]bool{}
	for _, path := range h.watcher.WatchList() {
		h.alive[path] = true
	}
}

// keepOnly forgets folders that are gone; the system has ended their watches.
func (h *hints) keepOnly(folders map[string]bool) {
	for dir := range h.watched {
		if !folders[dir] {
			delete(h.watched, dir)
		}
	}
}

// forget drops all watches, which belong to a folder that is no longer there.
func (h *hints) forget() {
	for _, path := range h.watcher.WatchList() {
		_ = h.watcher.Remove(path) // most are gone already
	}
	clear(h.watched)
}
