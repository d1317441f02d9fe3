package custody

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

func arrival(i int) Arrival {
	path := fmt.Appendf(nil, "run/\xff\n%d.csv", i)
	return Arrival{
		Daemon: "3f0e", Root: "gc", Path: path, PathText: Printable(path), SourceMtime: time.Date(2001, 2, 3, 4, 5, 6, 7, time.UTC),
		Size: int64(i), SHA256: HashOf(path), EndProof: "held", TakenAt: time.Date(2026, 1, 2, 3, 4, 5, 6000, time.UTC),
	}
}

func mustOpen(t *testing.T, path string) (*Journal, *Torn) {
	t.Helper()
	j, torn, err := OpenJournal(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j, torn
}

func records(t *testing.T, j *Journal, from uint64) (got []Record) {
	t.Helper()
	for r, err := range j.Records(from) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, r)
	}
	return got
}

// journalOf writes n arrivals, one batch each, and gives the file's bytes.
func journalOf(t *testing.T, path string, n int) []byte {
	t.Helper()
	j, _ := mustOpen(t, path)
	for i := range n {
		if err := j.Append(t.Context(), []Arrival{arrival(i)}); err != nil {
			t.Fatal(err)
		}
	}
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

func TestJournalGivesBackWhatWasAppended(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "journal", "arrivals.ndjson")
	j, torn := mustOpen(t, path)
	if torn != nil || j.Last() != 0 || len(records(t, j, 1)) != 0 {
		t.Fatalf("new journal: torn %v, last %d", torn, j.Last())
	}
	batch := []Arrival{arrival(0), arrival(1)}
	batch[1].Incomplete = "no end mark for 2h"
	if err := j.Append(t.Context(), batch); err != nil {
		t.Fatal(err)
	}
	anchor := Anchor{Seq: 12, Hash: "ab12", At: time.Date(2026, 5, 6, 7, 8, 9, 0, time.UTC)}
	if n, err := j.AppendAnchor(t.Context(), anchor); n != 3 || err != nil {
		t.Fatalf("anchor %d, %v", n, err)
	}
	var many []Arrival
	for i := range 3 * markEvery {
		many = append(many, arrival(i))
	}
	if err := j.Append(t.Context(), many); err != nil {
		t.Fatal(err)
	}
	if batch[0].Number != 1 || batch[1].Number != 2 || many[0].Number != 4 {
		t.Errorf("numbers %d, %d, %d", batch[0].Number, batch[1].Number, many[0].Number)
	}
	check := func(j *Journal) {
		t.Helper()
		all := records(t, j, 0)
		if len(all) != 3+len(many) || j.Last() != uint64(len(all)) {
			t.Fatalf("%d records, last %d", len(all), j.Last())
		}
		if a := all[1].Arrival; !bytes.Equal(a.Path, batch[1].Path) || a.SHA256 != batch[1].SHA256 || a.Number != 2 ||
			a.Incomplete != batch[1].Incomplete || !a.SourceMtime.Equal(batch[1].SourceMtime) || a.PathText != `run/\xff\n1.csv` {
			t.Errorf("arrival %+v", a)
		}
		if r := all[2]; r.Kind != KindAnchor || *r.Anchor != anchor || r.Arrival != nil {
			t.Errorf("anchor %+v", r)
		}
		for _, from := range []uint64{1, 2, markEvery, markEvery + 1, markEvery + 2, 2*markEvery + 1, j.Last(), j.Last() + 1} {
			if got := records(t, j, from); len(got) != len(all)-int(from)+1 || len(got) > 0 && got[0].Number != from {
				t.Errorf("from %d: %d records", from, len(got))
			}
		}
	}
	check(j)
	again, torn := mustOpen(t, path)
	if torn != nil {
		t.Errorf("torn %+v", torn)
	}
	check(again)
	for r, err := range again.Records(1) {
		if r.Number != 1 || err != nil {
			t.Errorf("%+v, %v", r, err)
		}
		break
	}
}

func TestJournalTornAtEachByte(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	whole := journalOf(t, filepath.Join(dir, "whole"), 2)
	for size := range len(whole) + 1 {
		path := filepath.Join(dir, fmt.Sprintf("cut-%04d", size))
		tails := []string{""}
		if size%16 == 0 {
			tails = append(tails, "\x00\x00\x00\x00", "\x00\n")
		}
		for _, tail := range tails {
			content := append(slices.Clone(whole[:size]), tail...)
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
			kept := bytes.LastIndexByte(whole[:size], '\n') + 1
			lines := bytes.Count(whole[:size], []byte("\n"))
			j, torn := mustOpen(t, path)
			if wantTorn := kept != len(content); (torn != nil) != wantTorn {
				t.Fatalf("cut at %d, tail %q: torn %+v", size, tail, torn)
			}
			if torn != nil {
				aside, err := os.ReadFile(torn.Aside)
				if err != nil || !bytes.Equal(aside, content[kept:]) || torn.Bytes != int64(len(content)-kept) || torn.Line != uint64(lines+1) {
					t.Fatalf("cut at %d: torn %+v, kept aside %q, %v", size, torn, aside, err)
				}
			}
			if err := j.Append(t.Context(), []Arrival{arrival(lines)}); err != nil {
				t.Fatal(err)
			}
			again, torn := mustOpen(t, path)
			if got := records(t, again, 1); torn != nil || len(got) != lines+1 {
				t.Fatalf("cut at %d: %d records after the next append, torn %+v", size, len(got), torn)
			}
			if got, err := os.ReadFile(path); err != nil || !bytes.HasPrefix(got, whole[:kept]) {
				t.Fatalf("cut at %d: %v", size, err)
			}
		}
	}
}

func TestJournalDamageBeforeTheEndIsAnError(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	whole := journalOf(t, filepath.Join(dir, "whole"), 4)
	lines := bytes.SplitAfter(whole, []byte("\n"))[:4]
	flip := func(line []byte) []byte {
		line = slices.Clone(line)
		line[len(line)/2] ^= 1
		return line
	}
	renumbered, err := appendLine(nil, Record{Number: 4, Kind: "later"})
	if err != nil {
		t.Fatal(err)
	}
	empty, err := appendLine(nil, Record{Number: 2, Kind: KindArrival})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		parts [][]byte
		line  uint64
		says  string
	}{
		"bit in the first line":   {[][]byte{flip(lines[0]), lines[1], lines[2]}, 1, "checksum"},
		"bit in a middle line":    {[][]byte{lines[0], flip(lines[1]), lines[2]}, 2, "checksum"},
		"last two lines":          {[][]byte{lines[0], flip(lines[1]), flip(lines[2])}, 2, "checksum"},
		"missing line":            {[][]byte{lines[0], lines[2]}, 2, "record number 3 where 2"},
		"line twice":              {[][]byte{lines[0], lines[0]}, 2, "record number 1 where 2"},
		"wrong last number":       {[][]byte{lines[0], renumbered}, 2, "record number 4 where 2"},
		"empty line":              {[][]byte{lines[0], []byte("\n"), lines[1]}, 2, "no checksum"},
		"zeros":                   {[][]byte{lines[0], make([]byte, 5000), lines[1], lines[2], lines[3]}, 2, "checksum"},
		"over-long line":          {[][]byte{lines[0], bytes.Repeat([]byte("x"), maxLine+9), []byte("\n"), lines[1]}, 2, "no checksum"},
		"no content":              {[][]byte{lines[0], empty}, 2, "without its content"},
		"a tail beyond any write": {[][]byte{lines[0], make([]byte, maxBatch+1)}, 2, "no checksum"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "journal")
			content := bytes.Join(c.parts, nil)
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
			_, _, err := OpenJournal(path)
			damage, ok := errors.AsType[*JournalError](err)
			if !ok || damage.Line != c.line || !strings.Contains(damage.Reason, c.says) {
				t.Errorf("error %v", err)
			}
			if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, content) {
				t.Errorf("the damaged journal was changed (%v)", err)
			}
		})
	}
}

func TestJournalKeepsRecordsOfAKindItDoesNotKnow(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "journal")
	line, err := appendLine(nil, Record{Number: 1, Kind: "later"})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, line, 0o600); err != nil {
		t.Fatal(err)
	}
	j, _ := mustOpen(t, path)
	if got := records(t, j, 1); len(got) != 1 || got[0].Kind != "later" {
		t.Errorf("records %+v", got)
	}
}

func TestJournalFaultsAcknowledgeNothing(t *testing.T) {
	t.Parallel()
	for _, op := range []string{"write", "sync"} {
		t.Run(op, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "journal")
			log := &faults{}
			j, _, err := openJournal(path, log.disk())
			if err != nil {
				t.Fatal(err)
			}
			defer j.Close()
			if err := j.Append(t.Context(), []Arrival{arrival(0)}); err != nil {
				t.Fatal(err)
			}
			before, _ := os.ReadFile(path)
			log.fail = func(doing, _ string) error {
				if doing == op {
					return syscall.ENOSPC
				}
				return nil
			}
			err = j.Append(t.Context(), []Arrival{arrival(1)})
			if _, ok := errors.AsType[*NoSpaceError](err); !ok {
				t.Errorf("error %v", err)
			}
			if after, _ := os.ReadFile(path); !bytes.Equal(after, before) || j.Last() != 1 {
				t.Errorf("the journal grew, last %d", j.Last())
			}
			log.fail = nil
			if err := j.Append(t.Context(), []Arrival{arrival(2)}); err != nil || j.Last() != 2 {
				t.Errorf("after the fault: last %d, %v", j.Last(), err)
			}
			log.fail = func(string, string) error { return syscall.EIO }
			if err := j.Append(t.Context(), []Arrival{arrival(3)}); err == nil {
				t.Error("appended on a dead disk")
			}
			log.fail = nil
			if err := j.Append(t.Context(), []Arrival{arrival(4)}); err == nil {
				t.Error("appended although the journal's end is not known")
			}
			again, _ := mustOpen(t, path)
			if got := records(t, again, 1); len(got) != 2 {
				t.Errorf("%d records", len(got))
			}
		})
	}
}

func TestJournalRefusesHalfAnArrival(t *testing.T) {
	t.Parallel()
	j, _ := mustOpen(t, filepath.Join(t.TempDir(), "journal"))
	for name, strip := range map[string]func(*Arrival){
		"daemon": func(a *Arrival) { a.Daemon = "" }, "root": func(a *Arrival) { a.Root = "" },
		"path": func(a *Arrival) { a.Path = nil }, "hash": func(a *Arrival) { a.SHA256 = Hash{} }, "size": func(a *Arrival) { a.Size = -1 },
		"too long": func(a *Arrival) { a.Incomplete = strings.Repeat("x", maxLine) },
	} {
		a := arrival(1)
		strip(&a)
		if err := j.Append(t.Context(), []Arrival{arrival(0), a}); err == nil {
			t.Errorf("%s: appended", name)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := j.Append(ctx, []Arrival{arrival(0)}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if err := j.Append(t.Context(), nil); err != nil || j.Last() != 0 {
		t.Errorf("empty batch: last %d, %v", j.Last(), err)
	}
}

func TestJournalReadFindsDamageDoneSince(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "journal")
	content := journalOf(t, path, 3)
	j, _ := mustOpen(t, path)
	content[len(content)/2] ^= 1
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	n := 0
	var last error
	for _, err := range j.Records(1) {
		n++
		last = err
	}
	if damage, ok := errors.AsType[*JournalError](last); !ok || n != 2 || damage.Line != 2 {
		t.Errorf("%d records, error %v", n, last)
	}
}

// FuzzJournal opens arbitrary bytes: they are refused untouched, or some whole
// records are kept byte for byte and the journal goes on from there.
func FuzzJournal(f *testing.F) {
	var seed []byte
	for i := range 3 {
		a := arrival(i)
		seed, _ = appendLine(seed, Record{Number: uint64(i + 1), Kind: KindArrival, Arrival: &a})
	}
	f.Add(seed)
	f.Add(seed[:len(seed)-5])
	f.Add(append(slices.Clone(seed[:len(seed)/2]), seed...))
	f.Add([]byte("\n\n"))
	f.Add([]byte("00000000 \n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(t.TempDir(), "journal")
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		j, torn, err := OpenJournal(path)
		if err != nil {
			if _, ok := errors.AsType[*JournalError](err); !ok {
				t.Fatal(err)
			}
			if got, _ := os.ReadFile(path); !bytes.Equal(got, content) {
				t.Fatal("a refused journal was changed")
			}
			return
		}
		defer j.Close()
		kept, _ := os.ReadFile(path)
		if !bytes.HasPrefix(content, kept) || uint64(bytes.Count(kept, []byte("\n"))) != j.Last() || (torn != nil) != (len(kept) != len(content)) {
			t.Fatalf("kept %q of %q, last %d, torn %+v", kept, content, j.Last(), torn)
		}
		if err := j.Append(t.Context(), []Arrival{arrival(9)}); err != nil {
			t.Fatal(err)
		}
		again, torn := mustOpen(t, path)
		if torn != nil || again.Last() != j.Last() || len(records(t, again, 1)) != int(j.Last()) {
			t.Fatalf("after an append: last %d, want %d, torn %+v", again.Last(), j.Last(), torn)
		}
	})
}
