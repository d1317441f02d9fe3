package watch

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"underbond/ingest/custody"
)

func TestNewRefusesBadOptions(t *testing.T) {
	t.Parallel()
	take := func(context.Context, []Candidate) []Outcome { return nil }
	for name, c := range map[string]struct {
		opts Options
		says string
	}{
		"no take":     {Options{}, "nothing is set to take"},
		"no path":     {Options{Take: take, Roots: []Root{{Name: "a"}}}, "needs a name and a path"},
		"twice":       {Options{Take: take, Roots: []Root{{Name: "a", Path: "x"}, {Name: "a", Path: "y"}}}, "there twice"},
		"bad pattern": {Options{Take: take, Roots: []Root{{Name: "a", Path: "x", Ignore: []string{"[a"}}}}, `pattern "[a"`},
		"negative":    {Options{Take: take, Quiet: -1}, "negative"},
	} {
		if _, err := New(c.opts); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestFileIsTakenOnceWhenQuiet(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("run 1.csv", "methanol;12")
	b.scan(0)
	if s := b.state(); s.Status != StatusOnline || s.SettlingTotal != 1 || s.Settling[0].PathText != "run 1.csv" || s.Settling[0].Size != 11 {
		t.Errorf("state %+v", s)
	}
	b.scan(quiet - 1)
	if s := b.state(); s.Settling[0].Unchanged != quiet-1 || s.Settling[0].Blocked {
		t.Errorf("settling %+v", s.Settling[0])
	}
	b.want(map[string][]string{})
	b.scan(1)
	b.want(map[string][]string{"run 1.csv": {"methanol;12"}})
	for range 3 {
		b.scan(quiet)
	}
	b.want(map[string][]string{"run 1.csv": {"methanol;12"}})
	c := b.taken[0]
	if c.Root != "gc" || c.Instrument != "gas chromatograph" || c.EndProof != ProofNone || c.Incomplete != "" || !c.Previous.IsZero() {
		t.Errorf("candidate %+v", c)
	}
	if s := b.state(); s.Files != 1 || s.Taken != 1 || s.SettlingTotal != 0 || len(s.Settling) != 0 || s.RehashDue != 0 {
		t.Errorf("state %+v", s)
	}
	b.wantEvents(EventOnline)
}

func TestSlowWriter(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		file  string
		pause time.Duration
		want  []string
	}{
		"pauses shorter than the quiet period":      {"slow.csv", quiet / 2, []string{"1;2;3;4;5"}},
		"long pauses, with an end mark":             {"slow.jdx", 10 * quiet, []string{"1;2;3;4;5END\n"}},
		"long pauses, without: a revision for each": {"slow.csv", 2 * quiet, []string{"1;", "1;2;", "1;2;3;", "1;2;3;4;", "1;2;3;4;5"}},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, nil)
			chunks := []string{"1;", "2;", "3;", "4;", "5"}
			if strings.HasSuffix(c.file, ".jdx") {
				chunks[4] = "5END\n"
			}
			for _, chunk := range chunks {
				b.add(c.file, chunk)
				b.scan(0)
				b.scan(c.pause)
			}
			b.settle()
			b.want(map[string][]string{c.file: c.want})
			for i, cand := range b.taken {
				if cand.Previous.IsZero() != (i == 0) || cand.Incomplete != "" {
					t.Errorf("candidate %d: %+v", i, cand)
				}
			}
		})
	}
}

func TestFileWithoutItsEndIsTakenAsIncomplete(t *testing.T) {
	t.Parallel()
	hole := func(b *bench) {
		f, err := os.Create(b.path("run.txt"))
		b.must(err)
		_, err = f.WriteAt([]byte("END\n"), 512<<10)
		b.must(errors.Join(err, f.Close()))
	}
	for name, c := range map[string]struct {
		write func(b *bench)
		says  string
	}{
		"no end mark":        {func(b *bench) { b.write("run.txt", "##DATA") }, "no END"},
		"empty":              {func(b *bench) { b.write("run.txt", "") }, "empty"},
		"zeros to be filled": {func(b *bench) { b.write("run.txt", "1;2"+strings.Repeat("\x00", 600<<10)+"END\n") }, "zero bytes"},
		"hole":               {hole, "byte 0"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, nil)
			c.write(b)
			b.settle()
			b.scan(incompleteAfter - quiet - 1)
			if len(b.taken) > 0 {
				t.Fatalf("taken %+v", b.taken)
			}
			if s := b.state(); len(s.Settling) != 1 || !strings.Contains(s.Settling[0].Waiting, c.says) || s.Settling[0].Unchanged != incompleteAfter-1 {
				t.Errorf("settling %+v", s.Settling)
			}
			b.scan(1)
			if len(b.taken) != 1 || !strings.Contains(b.taken[0].Incomplete, c.says) || b.taken[0].EndProof != ProofFailed {
				t.Fatalf("taken %+v", b.taken)
			}
			b.must(os.Remove(b.path("run.txt")))
			b.write("run.txt", "1;2 END\n")
			b.settle()
			if len(b.taken) != 2 || b.taken[1].Incomplete != "" || b.taken[1].EndProof != ProofHeld {
				t.Errorf("after completion taken %+v", b.taken)
			}
		})
	}
}

func TestPreallocatedFileIsTakenOnceFilled(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("run.csv", strings.Repeat("\x00", 4096))
	info, err := os.Stat(b.path("run.csv"))
	b.must(err)
	b.settle()
	for _, fill := range []string{strings.Repeat("1;", 1000), strings.Repeat("1;", 2046) + "END\n"} {
		f, err := os.OpenFile(b.path("run.csv"), os.O_WRONLY, 0)
		b.must(err)
		_, err = f.WriteAt([]byte(fill), 0)
		b.must(errors.Join(err, f.Close(), os.Chtimes(b.path("run.csv"), info.ModTime(), info.ModTime())))
		b.settle()
	}
	b.want(map[string][]string{"run.csv": {strings.Repeat("1;", 2046) + "END\n"}})
}

func TestTimesOfTheSourceDecideNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	want := map[string][]string{}
	for name, at := range map[string]time.Time{
		"old.csv": time.Unix(0, 0), "ahead.csv": b.clock.Add(time.Hour), "far ahead.csv": b.clock.AddDate(10, 0, 0), "now.csv": b.clock,
	} {
		b.write(name, name)
		b.must(os.Chtimes(b.path(name), at, at))
		want[name] = []string{name}
	}
	b.settle()
	b.want(want)
	b.wantEvents(EventOnline, EventClockSkew)
}

func TestTemporaryNamesArePassedOver(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	for _, rel := range []string{"a.tmp", "A.TMP", "b.part", ".hidden.csv", "~lock.csv", "c.csv~", "d.crdownload", ".snapshot/e.csv", "Thumbs.db"} {
		b.write(rel, "x")
	}
	b.write("run.csv.tmp", "1")
	b.settle()
	b.want(map[string][]string{})
	b.must(os.Rename(b.path("run.csv.tmp"), b.path("run.csv")))
	b.settle()
	b.want(map[string][]string{"run.csv": {"1"}})

	b.start(func(o *Options) {
		o.Roots[0].Include = []string{"*.TXT"}
		o.Roots[0].Ignore = []string{}
	})
	b.write(".kept.txt", "2 END\n")
	b.settle()
	b.want(map[string][]string{"run.csv": {"1"}, ".kept.txt": {"2 END\n"}})
}

func TestFoldersBelowAreWatched(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.scan(0)
	b.write("2026/03/01/seq/run.csv", "1")
	b.write("2026/blank.csv", "2")
	b.settle()
	b.want(map[string][]string{"2026/03/01/seq/run.csv": {"1"}, "2026/blank.csv": {"2"}})
}

func TestRefusedFilesAreHandedOverAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Batch = 2 })
	for _, rel := range []string{"a.csv", "b.csv", "c.csv"} {
		b.write(rel, rel)
	}
	calls := 0
	b.refuse = func(Candidate) error { calls++; return &custody.NoSpaceError{Op: "write", Path: "archive"} }
	b.settle()
	if calls != 2 {
		t.Errorf("%d files were handed over although the first batch failed as a whole", calls)
	}
	if s := b.state(); s.SettlingTotal != 3 || !s.Settling[0].Blocked || !strings.Contains(s.Settling[0].Waiting, "no space") {
		t.Errorf("settling %+v", s.Settling)
	}
	b.refuse = func(c Candidate) error {
		if string(c.Path) == "b.csv" {
			return custody.ErrChanged
		}
		return nil
	}
	b.scan(0)
	b.want(map[string][]string{"a.csv": {"a.csv"}, "c.csv": {"c.csv"}})
	b.refuse = nil
	b.scan(quiet - 1)
	b.want(map[string][]string{"a.csv": {"a.csv"}, "c.csv": {"c.csv"}})
	b.scan(1)
	b.want(map[string][]string{"a.csv": {"a.csv"}, "b.csv": {"b.csv"}, "c.csv": {"c.csv"}})

	b.write("d.csv", "d")
	b.w.opts.Take = func(context.Context, []Candidate) []Outcome { return nil }
	b.settle()
	if s := b.state(); s.SettlingTotal != 1 || !s.Settling[0].Blocked {
		t.Errorf("without an answer: %+v", s)
	}
}

func TestVanishedBeforeCustodyIsTold(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.write("lost.csv", "1")
	b.write("kept.csv", "2")
	b.settle()
	b.write("lost.csv", "1 and more")
	b.scan(0)
	b.must(os.Remove(b.path("lost.csv")))
	b.must(os.Remove(b.path("kept.csv")))
	b.scan(0)
	b.wantEvents(EventOnline, EventVanished)
	if e := b.events[1]; string(e.Path) != "lost.csv" || !strings.Contains(e.Detail, "10 bytes") {
		t.Errorf("event %+v", e)
	}
	if s := b.state(); s.Files != 0 || s.SettlingTotal != 0 {
		t.Errorf("state %+v", s)
	}
	b.scan(0)
	b.wantEvents(EventOnline, EventVanished)
}

func TestKnownFromJournal(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	j, _, err := custody.OpenJournal(filepath.Join(t.TempDir(), "journal"))
	b.must(err)
	defer j.Close()
	b.write("a.csv", "old")
	b.write("b/\xff.csv", "b")
	b.settle()
	b.write("a.csv", "newer")
	b.settle()
	var arrivals []custody.Arrival
	for _, c := range b.taken {
		text := b.content[string(c.Path)]
		receipt := custody.Receipt{Object: custody.Object{Size: c.Identity.Size, Hash: custody.HashOf([]byte(text[0]))}, Source: c.Identity}
		b.content[string(c.Path)] = text[1:]
		arrivals = append(arrivals, c.Arrival("daemon", receipt, b.now()))
	}
	b.must(j.Append(t.Context(), arrivals))
	_, err = j.AppendAnchor(t.Context(), custody.Anchor{Seq: 1})
	b.must(err)
	known, err := KnownFrom(j)
	b.must(err)
	if len(known) != 2 || known[0].Hash != custody.HashOf([]byte("newer")) || string(known[1].Path) != "b/\xff.csv" {
		t.Fatalf("known %+v", known)
	}
	taken := len(b.taken)
	b.start(func(o *Options) { o.Known = known })
	b.settle()
	if s := b.state(); len(b.taken) != taken || s.Taken != 2 || s.RehashDue != 0 {
		t.Errorf("taken again: %+v, state %+v", b.taken[taken:], s)
	}
}
