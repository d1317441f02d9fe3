package store_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"underbond/ingest/record"
	"underbond/parsers"
)

func TestRegisterTwice(t *testing.T) {
	lab := newLaboratory(t)
	list := []record.Arrival{
		lab.arrival("GC-1", record.HoldsExports, "GC-1", "a.csv", []byte("a")),
		lab.arrival("GC-1", record.HoldsExports, "GC-1", "b.csv", []byte("b")),
		lab.arrival("GC-1", record.HoldsExports, "GC-1", "copy of a.csv", []byte("a")),
	}
	lab.must(lab.Register(t.Context(), list[:2]))
	seq := lab.seq()
	lab.must(lab.Register(t.Context(), list[:2]))
	if lab.seq() != seq {
		t.Error("registering what is registered writes to the ledger")
	}
	lab.must(lab.Register(t.Context(), list)) // as after a crash between the two
	if n := one[int](lab, "select count(*) from core.arrival"); n != 3 {
		t.Errorf("%d arrivals, want 3", n)
	}
	if n := one[int](lab, "select count(*) from core.object"); n != 2 {
		t.Errorf("%d objects, want 2: equal bytes are one object", n)
	}
	if last, err := lab.LastJournal(t.Context(), daemon); err != nil || last != 3 {
		t.Errorf("last journal number %d (%v), want 3", last, err)
	}
	if last, err := lab.LastJournal(t.Context(), "another"); err != nil || last != 0 {
		t.Errorf("last journal number of another daemon %d (%v), want 0", last, err)
	}
	lab.must(lab.Register(t.Context(), nil))
	lab.check()
}

func TestClaimsComeInOrder(t *testing.T) {
	lab := newLaboratory(t)
	lab.must(lab.Register(t.Context(), []record.Arrival{
		lab.arrival("GC-1", record.HoldsExports, "GC-1", "first.csv", []byte("1")),
		lab.arrival("GC-1", record.HoldsExports, "GC-1", "second.csv", []byte("2")),
		lab.arrival("documents", record.HoldsDocuments, "", "method.yaml", []byte("3")),
	}))
	elsewhere := lab.arrival("GC-1", record.HoldsExports, "GC-1", "elsewhere.csv", []byte("4"))
	elsewhere.Archive = "archive-2"
	lab.must(lab.Register(t.Context(), []record.Arrival{elsewhere}))
	var got []string
	for {
		c, err := lab.Claim(t.Context(), daemon, archive, time.Minute, false)
		lab.must(err)
		if c == nil {
			break
		}
		if c.Attempts != 1 || c.Fence != 1 || c.Archive != archive {
			t.Errorf("%s: attempt %d, fence %d, archive %s", c.PathText, c.Attempts, c.Fence, c.Archive)
		}
		got = append(got, c.PathText)
	}
	if want := []string{"method.yaml", "first.csv", "second.csv"}; !slices.Equal(got, want) {
		t.Errorf("claimed %q, want %q", got, want)
	}
}

func TestClaimIsWhatWasRegistered(t *testing.T) {
	lab := newLaboratory(t)
	a := lab.arrival("GC-1", record.HoldsExports, "GC-1", "Lauf \xff.csv", []byte("bytes"))
	a.PathText, a.Incomplete, a.EndProof = `Lauf \xff.csv`, "the end mark is not there", ""
	c := lab.take(a)
	a.SourceMtime, c.SourceMtime, a.TakenAt, c.TakenAt = a.SourceMtime.UTC(), c.SourceMtime.UTC(), a.TakenAt.UTC(), c.TakenAt.UTC()
	if string(c.Path) != string(a.Path) || c.PathText != a.PathText || c.Incomplete != a.Incomplete || c.EndProof != a.EndProof || c.Object != a.Object || c.Size != a.Size ||
		!c.SourceMtime.Equal(a.SourceMtime) || !c.TakenAt.Equal(a.TakenAt) || c.Root != a.Root || c.Instrument != a.Instrument || c.Holds != a.Holds || c.Daemon != a.Daemon {
		t.Errorf("claimed %+v\nregistered %+v", c.Arrival, a)
	}
}

// expire ends all leases, as time would.
func (lab *laboratory) expire() {
	lab.exec("update core.arrival set lease_until = clock_timestamp() - interval '1 second' where state = 'parsing'")
}

func TestLeaseExpiresAndTheFirstWorkerIsFencedOff(t *testing.T) {
	lab := ready(t)
	first := lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", "peaks.csv", []byte("x")))
	if c, err := lab.Claim(t.Context(), "daemon-2", archive, time.Minute, false); c != nil || err != nil {
		t.Fatalf("a leased file is claimed again: %+v, %v", c, err)
	}
	lab.expire()
	second := lab.claim()
	if second.ID != first.ID || second.Attempts != 2 || second.Fence != first.Fence+1 {
		t.Fatalf("taken over as %+v", second)
	}
	seq := lab.seq()
	list := lab.acquisitions(first, goodMethanol)
	problem := parsers.Refuse("code", parsers.Place{}, "text").Problem
	for name, write := range map[string]func() error{
		"record":   func() error { return lab.RecordAcquisitions(t.Context(), first, list, nil) },
		"refuse":   func() error { return lab.Refuse(t.Context(), first, problem, nil) },
		"park":     func() error { return lab.Park(t.Context(), first, record.WaitProfile, "profile x") },
		"document": func() error { return lab.RecordDocument(t.Context(), first, &record.Document{Kind: "profile"}) },
	} {
		if err := write(); !errors.Is(err, record.ErrFenced) {
			t.Errorf("%s by the first worker: %v, want ErrFenced", name, err)
		}
	}
	lab.must(lab.HandBack(t.Context(), first))
	if state := one[string](lab, "select state from core.arrival where id = $1", first.ID); state != "parsing" {
		t.Errorf("the first worker handed back the second one's claim: %s", state)
	}
	if lab.seq() != seq || one[int](lab, "select count(*) from core.acquisition") != 0 {
		t.Error("the first worker has written")
	}
	lab.must(lab.RecordAcquisitions(t.Context(), second, list, nil))
	lab.must(lab.RecordAcquisitions(t.Context(), second, list, nil)) // as after a lost answer
	if n := one[int](lab, "select count(*) from core.acquisition_revision"); n != len(list) || lab.seq() != seq+1 {
		t.Errorf("%d revisions, %d entries; want %d and 1", n, lab.seq()-seq, len(list))
	}
	lab.check()
}

func TestAttemptsAreCountedBeforeReading(t *testing.T) {
	lab := newLaboratory(t)
	lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", "peaks.csv", []byte("x")))
	for want := 2; want <= 4; want++ { // the process ends each time, and comes back
		lab.must(lab.FreeLeases(t.Context(), daemon))
		if c, err := lab.Claim(t.Context(), daemon, archive, time.Minute, false); c != nil || err != nil {
			t.Fatalf("a file that was begun before is claimed beside others: %+v, %v", c, err)
		}
		if c := lab.claim(); c.Attempts != want {
			t.Fatalf("attempt %d, want %d", c.Attempts, want)
		}
	}
	lab.must(lab.FreeLeases(t.Context(), "another daemon"))
	if c, err := lab.Claim(t.Context(), daemon, archive, time.Minute, false); c != nil || err != nil {
		t.Errorf("another daemon freed this one's lease: %+v, %v", c, err)
	}
	c := lab.claimAfterFree()
	lab.must(lab.HandBack(t.Context(), c))
	if again := lab.claim(); again.Attempts != c.Attempts {
		t.Errorf("attempt %d after handing back attempt %d: a fault that is not the file's counts", again.Attempts, c.Attempts)
	}
}

func (lab *laboratory) claimAfterFree() *record.Claim {
	lab.Helper()
	lab.must(lab.FreeLeases(lab.Context(), daemon))
	return lab.claim()
}

const profileText = `kind: profile
name: %NAME%
version: "1"
title: invented
invented: true
encoding: utf-8
delimiter: ","
decimal_mark: "."
columns:
  - {name: Vial, meaning: vial, type: text}
  - {name: Content, meaning: content, unit: "% vol", type: number}
shape: wide
key: [vial]
end: newline
`

func profile(name string) string { return strings.ReplaceAll(profileText, "%NAME%", name) }

func TestFileWaitsForItsProfile(t *testing.T) {
	lab := newLaboratory(t)
	c := lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", "peaks.csv", []byte("x")))
	lab.must(lab.Park(t.Context(), c, record.WaitProfile, "profile log"))
	files, err := lab.WaitingFiles(t.Context())
	lab.must(err)
	if len(files) != 1 || files[0].Path != "peaks.csv" || files[0].Text != "profile log" {
		t.Errorf("waiting: %+v", files)
	}
	if c, err := lab.Claim(t.Context(), daemon, archive, time.Minute, false); c != nil || err != nil {
		t.Fatalf("a waiting file is claimed: %+v, %v", c, err)
	}
	lab.documents(profile("log"))
	again := lab.claim()
	if again.ID != c.ID || again.Attempts != 1 {
		t.Errorf("after the profile: %+v", again)
	}
	if again.Documents <= c.Documents {
		t.Errorf("the second claim knows documents up to %d, the first up to %d", again.Documents, c.Documents)
	}
	lab.check()
}

// TestProfileThatComesMeanwhile: one worker finds that a file has no profile while
// another one records it. The file must not wait for what is already there.
func TestProfileThatComesMeanwhile(t *testing.T) {
	lab := newLaboratory(t)
	c := lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", "peaks.csv", []byte("x")))
	lab.documents(profile("log"))
	seq := lab.seq()
	lab.must(lab.Park(t.Context(), c, record.WaitProfile, "profile log"))
	if state := one[string](lab, "select state from core.arrival where id = $1", c.ID); state != "in custody" {
		t.Errorf("the file is %s", state)
	}
	if lab.seq() != seq {
		t.Error("handing back is in the ledger")
	}
	again := lab.claim()
	if again.Attempts != 1 {
		t.Errorf("attempt %d: the first counts", again.Attempts)
	}
	lab.must(lab.Park(t.Context(), again, record.WaitProfile, "profile another"))
	if state := one[string](lab, "select state from core.arrival where id = $1", c.ID); state != "waiting" {
		t.Errorf("the file is %s, want waiting: no profile came since", state)
	}
}

func TestRefusedFileSaysWhyAndWhere(t *testing.T) {
	lab := newLaboratory(t)
	c := lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", "peaks.csv", []byte("x")))
	problem := parsers.Refuse("not-a-number", parsers.Place{Line: 7, Column: 3}, "cell %q is no number", "12,3").Problem
	lab.must(lab.Refuse(t.Context(), c, problem, []parsers.Problem{problem}))
	lab.must(lab.Refuse(t.Context(), c, problem, nil)) // as after a lost answer
	files, err := lab.RefusedFiles(t.Context())
	lab.must(err)
	want := "GC-1 peaks.csv not-a-number " + problem.Where.String() + ` cell "12,3" is no number`
	if len(files) != 1 || strings.Join([]string{files[0].Root, files[0].Path, files[0].Code, files[0].Where, files[0].Text}, " ") != want {
		t.Errorf("refused: %+v, want %s", files, want)
	}
	if n := one[int](lab, "select count(*) from qa.failure where what = 'file' and rule = 'not-a-number'"); n != 1 {
		t.Errorf("%d lines in the failure log", n)
	}
	lab.check()
}
