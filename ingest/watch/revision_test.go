package watch

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"

	"underbond/ingest/custody"
)

func TestReexportOfEqualSizeAndTime(t *testing.T) {
	t.Parallel()
	over := func(b *bench, rel, content string) { // in place
		f, err := os.OpenFile(b.path(rel), os.O_WRONLY, 0)
		b.must(err)
		_, err = f.WriteString(content)
		b.must(errors.Join(err, f.Close()))
	}
	replace := func(b *bench, rel, content string) { // by rename
		b.must(os.WriteFile(b.path(rel+".tmp"), []byte(content), 0o644))
		b.must(os.Rename(b.path(rel+".tmp"), b.path(rel)))
	}
	for name, change := range map[string]func(b *bench, rel, content string){"in place": over, "rename over": replace} {
		for _, restarted := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, restarted %v", name, restarted), func(t *testing.T) {
				b := newBench(t, nil)
				b.write("run.csv", "copper;412")
				info, err := os.Stat(b.path("run.csv"))
				b.must(err)
				b.settle()
				change(b, "run.csv", "copper;112")
				b.must(os.Chtimes(b.path("run.csv"), info.ModTime(), info.ModTime()))
				if restarted {
					known := Known{Root: "gc", Path: []byte("run.csv"), Size: 10, Mtime: info.ModTime(), Hash: custody.HashOf([]byte("copper;412"))}
					b.start(func(o *Options) { o.Known = []Known{known} })
				}
				b.settle()
				b.settle()
				b.want(map[string][]string{"run.csv": {"copper;412", "copper;112"}})
				if b.taken[1].Previous != custody.HashOf([]byte("copper;412")) {
					t.Errorf("previous %s", b.taken[1].Previous)
				}
			})
		}
	}
}

func TestFullRehashFindsWhatNoStatShows(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("run.csv", "copper;412")
	b.settle()
	// Pretend that the bytes changed under an identity that stayed as it was.
	b.w.roots[0].files["run.csv"].hash = custody.HashOf([]byte("copper;999"))
	b.scan(rehashEvery - 1)
	b.wantEvents(EventOnline)
	b.scan(1)
	b.wantEvents(EventOnline, EventSilentChange)
	b.scan(quiet)
	b.want(map[string][]string{"run.csv": {"copper;412", "copper;412"}})
}

func TestRehashIsBoundedPerScan(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	var known []Known
	for i := range 5 {
		rel := fmt.Sprintf("%d.csv", i)
		b.write(rel, "0123456789")
		info, err := os.Stat(b.path(rel))
		b.must(err)
		known = append(known, Known{Root: "gc", Path: []byte(rel), Size: 10, Mtime: info.ModTime(), Hash: custody.HashOf([]byte("0123456789"))})
	}
	known = append(known, Known{Root: "no longer watched", Path: []byte("x")})
	b.start(func(o *Options) { o.Known, o.RehashBytes = known, 20 })
	for _, due := range []int{3, 1, 0, 0} {
		b.scan(0)
		if s := b.state(); s.RehashDue != due || s.Taken != 5 {
			t.Errorf("due %d, want %d; taken %d", s.RehashDue, due, s.Taken)
		}
	}
	b.scan(quiet)
	b.want(map[string][]string{})
}

func TestChangedAttributesAloneTakeNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("run.csv", "1")
	b.settle()
	b.must(os.Chmod(b.path("run.csv"), 0o600))
	b.settle()
	b.want(map[string][]string{"run.csv": {"1"}})
	b.wantEvents(EventOnline)
}

// TestRenamedOverAgainAndAgain exchanges a file while it is watched: whatever is
// taken is one version, never a mixture, and the last one is always taken.
func TestRenamedOverAgainAndAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Quiet = 1 })
	const versions = 300
	version := func(i int) string { return strings.Repeat(fmt.Sprintf("%03d;", i), 20_000) }
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := range versions {
			if err := errors.Join(os.WriteFile(b.path("run.tmp"), []byte(version(i)), 0o644), os.Rename(b.path("run.tmp"), b.path("run.csv"))); err != nil {
				t.Error(err)
				return
			}
		}
	})
	written := make(chan struct{})
	go func() { wg.Wait(); close(written) }()
	for done := false; !done; {
		select {
		case <-written:
			done = true
		default:
		}
		b.scan(1)
	}
	b.scan(1)
	b.scan(1)
	taken := b.content["run.csv"]
	for n, text := range taken {
		if len(text) != len(version(0)) || text != strings.Repeat(text[:4], 20_000) {
			t.Errorf("version %d of %d is a mixture", n, len(taken))
		}
	}
	if len(b.content) != 1 || len(taken) == 0 || taken[len(taken)-1] != version(versions-1) {
		t.Errorf("%d versions of %d files taken, the last one is not the last written", len(taken), len(b.content))
	}
	t.Logf("%d of %d versions taken", len(taken), versions)
}
