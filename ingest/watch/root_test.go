package watch

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"underbond/ingest/custody"
)

func TestRootOffline(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("taken.csv", "1")
	b.settle()
	b.write("settling.csv", "2")
	b.scan(0)

	away := b.dir + ".away"
	b.must(os.Rename(b.dir, away))
	b.scan(quiet)
	if s := b.state(); s.Status != StatusOffline || s.Reason == "" || s.Files != 2 || s.Taken != 1 || !s.Since.Equal(b.now()) {
		t.Errorf("missing: %+v", s)
	}
	b.must(os.Mkdir(b.dir, 0o755)) // the bare mount point
	b.scan(quiet)
	if s := b.state(); s.Status != StatusOffline || !strings.Contains(s.Reason, "mounted") || s.Files != 2 {
		t.Errorf("empty: %+v", s)
	}
	b.want(map[string][]string{"taken.csv": {"1"}})
	b.wantEvents(EventOnline, EventOffline)

	b.must(errors.Join(os.Remove(b.dir), os.Rename(away, b.dir)))
	b.settle()
	if s := b.state(); s.Status != StatusOnline || s.Taken != 2 {
		t.Errorf("back: %+v", s)
	}
	b.want(map[string][]string{"taken.csv": {"1"}, "settling.csv": {"2"}})
	b.wantEvents(EventOnline, EventOffline, EventOnline)
}

func TestRootWithAnotherIdentityAndContentIsAccepted(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("a.csv", "1")
	b.settle()
	info, err := os.Stat(b.path("a.csv"))
	b.must(err)
	b.must(os.Rename(b.dir, b.dir+".away"))
	b.write("a.csv", "1") // mounted anew: another device or inode, the same files
	b.must(os.Chtimes(b.path("a.csv"), info.ModTime(), info.ModTime()))
	b.write("b.csv", "2")
	b.settle()
	b.want(map[string][]string{"a.csv": {"1"}, "b.csv": {"2"}})
	b.wantEvents(EventOnline)
}

func TestRootEmptiedByItsOwnerStaysOnline(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("a.csv", "1")
	b.settle()
	b.must(os.Remove(b.path("a.csv")))
	b.scan(0)
	if s := b.state(); s.Status != StatusOnline || s.Files != 0 {
		t.Errorf("state %+v", s)
	}
	b.wantEvents(EventOnline)
}

func TestRootMarker(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Roots[0].Marker = "this-is-the-share" })
	b.write("stray.csv", "under the mount point")
	b.settle()
	if s := b.state(); s.Status != StatusOffline || !strings.Contains(s.Reason, "marker") {
		t.Errorf("state %+v", s)
	}
	b.want(map[string][]string{})
	b.write("this-is-the-share", "")
	b.settle()
	b.want(map[string][]string{"stray.csv": {"under the mount point"}})
	if s := b.state(); s.Files != 1 {
		t.Errorf("the marker counts as a file: %+v", s)
	}
}

func TestOneRootDoesNotStopAnother(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	good := filepath.Join(t.TempDir(), "good")
	b.must(os.Mkdir(good, 0o755))
	b.must(os.WriteFile(filepath.Join(good, "a.csv"), []byte("1"), 0o644))
	b.start(func(o *Options) {
		o.Roots[0].Path += ".missing"
		o.Roots = append(o.Roots, Root{Name: "good", Path: good})
	})
	b.settle()
	b.want(map[string][]string{"a.csv": {"1"}})
	if s := b.w.State(); s[0].Status != StatusOffline || s[1].Status != StatusOnline {
		t.Errorf("states %+v", s)
	}
}

func TestScanStopsWithItsContext(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("a.csv", "1")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.w.Scan(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if s := b.state(); s.Status == StatusOffline || !s.ScanStarted.IsZero() {
		t.Errorf("state %+v", s)
	}
}

func TestStateListsTheOldestOfMany(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	for i := range listed + 10 {
		b.write(fmt.Sprintf("%05d.csv", i), "x")
	}
	b.scan(0)
	s := b.state()
	if s.SettlingTotal != listed+10 || len(s.Settling) != listed || s.Settling[0].PathText != "00000.csv" {
		t.Errorf("%d settling, %d listed", s.SettlingTotal, len(s.Settling))
	}
}

func TestTenThousandFiles(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes ten thousand files")
	}
	b := newBench(t, nil)
	const files = 10_000
	want := make(map[string]bool, files)
	for i := range files {
		rel := fmt.Sprintf("d%02d/%05d.csv", i%20, i)
		want[rel] = true
		b.write(rel, rel)
	}
	taken := 0
	b.w.opts.Take = func(_ context.Context, batch []Candidate) []Outcome {
		if len(batch) > DefaultBatch {
			t.Errorf("a batch of %d", len(batch))
		}
		outcomes := make([]Outcome, len(batch))
		for i, c := range batch {
			taken++
			delete(want, string(c.Path))
			outcomes[i].Hash, _, outcomes[i].Err = custody.Digest(t.Context(), c.Source())
		}
		return outcomes
	}
	b.settle()
	b.scan(quiet)
	if taken != files || len(want) > 0 {
		t.Errorf("%d handed over, %d missing", taken, len(want))
	}
	if s := b.state(); s.Taken != files {
		t.Errorf("taken %d", s.Taken)
	}
}
