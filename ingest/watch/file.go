package watch

import (
	"cmp"
	"errors"
	"io/fs"
	"slices"
	"time"

	"underbond/ingest/custody"
)

// file is what is known of one path. It is settling until it is taken, and
// settles again when it changes.
type file struct {
	id      custody.Identity
	present bool   // as far as is known
	scan    uint64 // the last one that saw it
	taken   bool
	hash    custody.Hash // of what was last taken; zero when nothing was

	// While settling:
	first   time.Time // this version was first seen
	since   time.Time // it was first seen as it is now
	seen    time.Time // it was last seen
	checked time.Time // zero: not since its last change
	verdict verdict   // of that check
	waiting string
	blocked bool

	// Once taken: when it is to be read again; zero means as soon as possible.
	rehashAt time.Time
}

// settle starts a new version that is to be taken.
func (f *file) settle(id custody.Identity, now time.Time) {
	if f.taken || f.first.IsZero() {
		f.first = now
	}
	f.taken = false
	f.id = id
	f.since, f.seen = now, now
	f.checked, f.verdict = time.Time{}, verdict{}
	f.waiting, f.blocked = "until it has not changed for the quiet period", false
}

// observe tells what the scan of that number saw at the path.
func (f *file) observe(id custody.Identity, scan uint64, now time.Time) {
	f.present, f.scan = true, scan
	switch {
	case f.taken && id.SameTimes(f.id):
		if id != f.id { // known from the journal only, or its attributes or inode changed
			f.id = id
			f.rehashAt = time.Time{}
		}
	case f.taken || f.first.IsZero() || id != f.id:
		f.settle(id, now)
	default:
		f.seen = now
	}
}

// unchanged is how long the file is known not to have changed.
func (f *file) unchanged() time.Duration { return f.seen.Sub(f.since) }

func (f *file) rehashDue(now time.Time) bool { return f.taken && f.present && !f.rehashAt.After(now) }

// block keeps why the file cannot be read or taken for now.
func (f *file) block(doing string, err error) {
	switch {
	case errors.Is(err, custody.ErrChanged), errors.Is(err, fs.ErrNotExist): // the next scan tells
		f.waiting, f.blocked = "for the next look: "+err.Error(), false
	default:
		f.waiting, f.blocked = doing+": "+err.Error(), true
	}
}

// byAge gives the paths of the chosen files, those that have waited longest first.
func (r *root) byAge(choose func(*file) bool) []string {
	var paths []string
	for rel, f := range r.files {
		if choose(f) {
			paths = append(paths, rel)
		}
	}
	slices.SortFunc(paths, func(a, b string) int {
		return cmp.Or(r.files[a].first.Compare(r.files[b].first), cmp.Compare(a, b))
	})
	return paths
}

// byRehash gives the paths of the files to be read again, the longest due first.
func (r *root) byRehash(now time.Time) []string {
	var paths []string
	for rel, f := range r.files {
		if f.rehashDue(now) {
			paths = append(paths, rel)
		}
	}
	slices.SortFunc(paths, func(a, b string) int {
		return cmp.Or(r.files[a].rehashAt.Compare(r.files[b].rehashAt), cmp.Compare(a, b))
	})
	return paths
}
