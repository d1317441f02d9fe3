package watch

import (
	"slices"
	"time"

	"underbond/ingest/custody"
)

// Status says whether a root can be read.
type Status string

const (
	// StatusStarting: not scanned yet.
	StatusStarting Status = "starting"
	// StatusOnline: the last scan read the folder.
	StatusOnline Status = "online"
	// StatusOffline: missing, unreadable, or not the folder it was.
	StatusOffline Status = "offline"
)

// listed is how many files a state lists by name.
const listed = 1000

// RootState is a snapshot of one root.
type RootState struct {
	Name, Path, Instrument string

	Status Status
	Reason string // why it is offline
	Since  time.Time

	// Polling says why the root is scanned at intervals only; empty when
	// notifications make scans come sooner.
	Polling   string
	Overflows int64 // how often notifications were lost

	ScanStarted  time.Time     // of the scan under way; zero when there is none
	LastScan     time.Time     // end of the last one; zero when there was none
	ScanDuration time.Duration // of the last one

	Files         int // regular files that are watched
	Taken         int // of them, those taken as they are
	RehashDue     int // of them, those still to be read again
	SettlingTotal int
	Settling      []FileState // up to 1000 of them, oldest first
	Unreadable    []FileState // folders that cannot be listed, and taken files that cannot be read again
	Special       int         // links, pipes, sockets, devices passed over
}

// FileState is a file that is not in custody yet, or a folder that cannot be read.
type FileState struct {
	Path      []byte
	PathText  string
	Size      int64
	Seen      time.Duration // since it was first seen as this version
	Unchanged time.Duration // since its last change was seen
	Waiting   string        // for what
	Blocked   bool          // it cannot be read or taken; tried again at each scan

	first, since time.Time
}

// State gives snapshots of all roots, in the order of the options. It never
// waits for a scan.
func (w *Watcher) State() []RootState {
	now := w.opts.Now()
	states := make([]RootState, 0, len(w.roots))
	for _, r := range w.roots {
		s := r.snapshot()
		for i := range s.Settling {
			f := &s.Settling[i]
			f.Seen, f.Unchanged = now.Sub(f.first), now.Sub(f.since)
		}
		states = append(states, s)
	}
	return states
}

// snapshot copies the state so that the copy can be changed.
func (r *root) snapshot() RootState {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := r.state
	s.Settling = append([]FileState(nil), s.Settling...)
	s.Unreadable = append([]FileState(nil), s.Unreadable...)
	if r.hints != nil {
		s.Overflows = r.hints.overflows.Load()
	}
	return s
}

// update changes the state under its lock.
func (r *root) update(change func(*RootState)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.state)
}

// publish brings the lists and counts of the state up to date.
func (r *root) publish() {
	var settling []FileState
	var files, taken, due int
	now := r.opts.Now()
	for _, rel := range r.byAge(func(f *file) bool { return f.present && !f.taken }) {
		if len(settling) == listed {
			break
		}
		settling = append(settling, fileState(rel, r.files[rel]))
	}
	unreadable := slices.Clone(r.unreadable)
	for rel, f := range r.files {
		if !f.present {
			continue
		}
		if f.taken && f.blocked && len(unreadable) < listed {
			unreadable = append(unreadable, fileState(rel, f))
		}
		files++
		if f.taken {
			taken++
			if f.rehashDue(now) {
				due++
			}
		}
	}
	r.update(func(s *RootState) {
		s.Files, s.Taken, s.RehashDue, s.SettlingTotal = files, taken, due, files-taken
		s.Settling, s.Unreadable, s.Special = settling, unreadable, len(r.special)
	})
}

func fileState(rel string, f *file) FileState {
	return FileState{Path: []byte(rel), PathText: custody.Printable([]byte(rel)), Size: f.id.Size,
		Waiting: f.waiting, Blocked: f.blocked, first: f.first, since: f.since}
}
