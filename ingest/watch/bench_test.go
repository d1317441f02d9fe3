package watch

import (
	"context"
	"errors"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"underbond/ingest/custody"
)

const (
	quiet           = 10 * time.Second
	incompleteAfter = time.Hour
	rehashEvery     = 24 * time.Hour
)

// bench watches one folder with a clock that stands still unless told.
type bench struct {
	t       *testing.T
	dir     string
	archive *custody.Archive
	w       *Watcher

	mu      sync.Mutex
	clock   time.Time
	taken   []Candidate
	content map[string][]string // by path, every version taken
	events  []Event
	refuse  func(Candidate) error
}

func newBench(t *testing.T, change func(*Options)) *bench {
	t.Helper()
	dir := t.TempDir()
	b := &bench{t: t, dir: filepath.Join(dir, "gc"), clock: time.Now(), content: map[string][]string{}}
	if err := os.Mkdir(b.dir, 0o755); err != nil {
		t.Fatal(err)
	}
	var err error
	if b.archive, err = custody.OpenArchive(filepath.Join(dir, "archive")); err != nil {
		t.Fatal(err)
	}
	b.start(change)
	return b
}

// start makes a new watcher, as after a restart.
func (b *bench) start(change func(*Options)) {
	b.t.Helper()
	opts := Options{
		Roots: []Root{{Name: "gc", Path: b.dir, Instrument: "gas chromatograph"}},
		Quiet: quiet, IncompleteAfter: incompleteAfter, RehashEvery: rehashEvery,
		Prover: endLine{}, Take: b.take, Now: b.now,
		Report: func(e Event) {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.events = append(b.events, e)
		},
	}
	if change != nil {
		change(&opts)
	}
	var err error
	if b.w, err = New(opts); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) now() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.clock
}

func (b *bench) take(ctx context.Context, batch []Candidate) []Outcome {
	outcomes := make([]Outcome, len(batch))
	for i, c := range batch {
		if b.refuse != nil {
			if err := b.refuse(c); err != nil {
				outcomes[i].Err = err
				continue
			}
		}
		receipt, err := b.archive.Put(ctx, c.Source())
		outcomes[i] = Outcome{Hash: receipt.Hash, Err: err}
		if err != nil {
			continue
		}
		text, err := b.archive.ReadBytes(ctx, receipt.Hash, 1<<20)
		if err != nil {
			outcomes[i].Err = err
			continue
		}
		b.mu.Lock()
		b.taken = append(b.taken, c)
		b.content[string(c.Path)] = append(b.content[string(c.Path)], string(text))
		b.mu.Unlock()
	}
	return outcomes
}

// endLine is a format whose end mark is a last line "END"; files whose name ends
// in .csv have none.
type endLine struct{}

func (endLine) EndProof(_ context.Context, _, path string, r io.ReaderAt, size int64) (Proof, string, error) {
	if strings.HasSuffix(path, ".csv") {
		return ProofNone, "", nil
	}
	tail := make([]byte, min(size, 4))
	if _, err := r.ReadAt(tail, size-int64(len(tail))); err != nil {
		return "", "", err
	}
	if string(tail) != "END\n" {
		return ProofFailed, "no END", nil
	}
	return ProofHeld, "", nil
}

// scan lets the time pass and scans once.
func (b *bench) scan(pass time.Duration) {
	b.t.Helper()
	b.mu.Lock()
	b.clock = b.clock.Add(pass)
	b.mu.Unlock()
	if err := b.w.Scan(b.t.Context()); err != nil {
		b.t.Fatal(err)
	}
}

// settle scans twice with the quiet period between.
func (b *bench) settle() {
	b.t.Helper()
	b.scan(0)
	b.scan(quiet)
}

func (b *bench) path(rel string) string { return filepath.Join(b.dir, filepath.FromSlash(rel)) }

func (b *bench) write(rel, content string) {
	b.t.Helper()
	if err := os.MkdirAll(filepath.Dir(b.path(rel)), 0o755); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(b.path(rel), []byte(content), 0o644); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) add(rel, content string) {
	b.t.Helper()
	f, err := os.OpenFile(b.path(rel), os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		b.t.Fatal(err)
	}
	_, err = f.WriteString(content)
	b.must(errors.Join(err, f.Close()))
}

func (b *bench) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

// want compares what was taken, all versions by path.
func (b *bench) want(want map[string][]string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if !maps.EqualFunc(b.content, want, slices.Equal[[]string]) {
		b.t.Errorf("taken %q, want %q", b.content, want)
	}
}

func (b *bench) wantEvents(want ...EventKind) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	var got []EventKind
	for _, e := range b.events {
		got = append(got, e.Kind)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		b.t.Errorf("events %q, want %q", got, want)
	}
}

func (b *bench) state() RootState { return b.w.State()[0] }
