package watch

import (
	"context"
	"errors"
	"fmt"
	"path"
	"time"

	"underbond/ingest/custody"
)

// Defaults for what Options leaves zero.
const (
	DefaultQuiet           = 10 * time.Second
	DefaultIncompleteAfter = 2 * time.Hour
	DefaultScanEvery       = 30 * time.Second
	DefaultRehashEvery     = 24 * time.Hour
	DefaultRehashBytes     = 256 << 20
	DefaultBatch           = 64
)

// DefaultIgnore names files and folders that programs make on the way to the
// real file, or for themselves.
var DefaultIgnore = []string{".*", "~*", "*~", "*.tmp", "*.temp", "*.part", "*.partial", "*.crdownload", "*.filepart", "*.swp", "thumbs.db", "desktop.ini"}

// DefaultBinary names files that may hold runs of zero bytes.
var DefaultBinary = []string{"*.zip", "*.gz"}

// Root is one watched folder with all folders below it. Patterns are those of
// path.Match, compared with the last part of the name without regard to case.
type Root struct {
	Name       string // unique; kept with each arrival
	Path       string
	Instrument string
	Include    []string // files must match one; empty means all
	Ignore     []string // files and folders that match one are passed over; nil means DefaultIgnore
	Binary     []string // files that may hold runs of zero bytes; nil means DefaultBinary
	// Marker, when set, is the name of a file that must lie in the folder. Without
	// it the folder counts as offline: it may be the bare mount point of a share.
	Marker string
}

// Options configure a Watcher. Take and Roots are required; the rest has defaults.
type Options struct {
	Roots []Root
	// Quiet is how long size, times and inode must not have changed.
	Quiet time.Duration
	// IncompleteAfter is how long a file must not have changed to be handed over
	// although it is not complete.
	IncompleteAfter time.Duration
	// ScanEvery is the longest time between two scans of a root.
	ScanEvery time.Duration
	// RehashEvery is how often each file that was taken is read again, to find a
	// change that left its size and times as they were. It is also read after a start.
	RehashEvery time.Duration
	// RehashBytes bounds how much one scan reads again, so that new files need not
	// wait; at least one file is read.
	RehashBytes int64
	// Batch is the most files handed to Take at once.
	Batch int
	// PollOnly does without notifications.
	PollOnly bool

	Prover EndProver // nil: no format has an end mark
	Take   TakeFunc
	// Report is told of what should not pass silently; it may be called from
	// several goroutines and must not block. nil: nobody is told.
	Report func(Event)
	// Known is what was taken before, see KnownFrom.
	Known []Known
	// Now is the clock; readings must carry monotonic time. nil: time.Now.
	Now func() time.Time
}

// TakeFunc takes custody of ready files of one root and says for each, in the
// same order, what was taken or why not. A file whose outcome is an error is
// handed over again later. It is called by one goroutine for each root.
type TakeFunc func(ctx context.Context, batch []Candidate) []Outcome

// Outcome is what became of one candidate: the hash of the bytes taken, or an error.
type Outcome struct {
	Hash custody.Hash
	Err  error
}

// complete fills in the defaults and checks what is set.
func (o *Options) complete() error {
	if o.Take == nil {
		return errors.New("nothing is set to take files")
	}
	setDefault(&o.Quiet, DefaultQuiet)
	setDefault(&o.IncompleteAfter, DefaultIncompleteAfter)
	setDefault(&o.ScanEvery, DefaultScanEvery)
	setDefault(&o.RehashEvery, DefaultRehashEvery)
	setDefault(&o.RehashBytes, DefaultRehashBytes)
	setDefault(&o.Batch, DefaultBatch)
	if o.Quiet < 0 || o.IncompleteAfter < 0 || o.ScanEvery < 0 || o.RehashEvery < 0 || o.RehashBytes < 0 || o.Batch < 0 {
		return errors.New("a time, size or count is negative")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Report == nil {
		o.Report = func(Event) {}
	}
	names := map[string]bool{}
	for i := range o.Roots {
		r := &o.Roots[i]
		if err := r.complete(); err != nil {
			return fmt.Errorf("root %q: %w", r.Name, err)
		}
		if names[r.Name] {
			return fmt.Errorf("root %q is there twice", r.Name)
		}
		names[r.Name] = true
	}
	return nil
}

func setDefault[T int | int64 | time.Duration](v *T, value T) {
	if *v == 0 {
		*v = value
	}
}

func (r *Root) complete() error {
	if r.Name == "" || r.Path == "" {
		return errors.New("a root needs a name and a path")
	}
	if r.Ignore == nil {
		r.Ignore = DefaultIgnore
	}
	if r.Binary == nil {
		r.Binary = DefaultBinary
	}
	for _, patterns := range []*[]string{&r.Include, &r.Ignore, &r.Binary} {
		lower := make([]string, len(*patterns))
		for i, p := range *patterns {
			if _, err := path.Match(p, ""); err != nil {
				return fmt.Errorf("pattern %q: %w", p, err)
			}
			lower[i] = foldName(p)
		}
		*patterns = lower
	}
	return nil
}
