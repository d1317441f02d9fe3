package store_test

import (
	"fmt"
	"slices"
	"testing"

	"underbond/ingest/custody"
	"underbond/ingest/record"
	"underbond/qc"
	"underbond/qc/method"
)

// blank records a file that holds the same bytes as others, under a name of its own.
func (lab *laboratory) blank(file string) *record.Claim {
	lab.Helper()
	c := lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", file, []byte("equal bytes")))
	list := lab.acquisitions(c, []reading{{vial: "1", value: 100, key: "GC-1/" + file}})
	list[0].Digest = custody.HashOf([]byte("equal bytes"))
	list[0].Header.NativeKey, list[0].Header.Vial = "", ""
	lab.must(lab.RecordAcquisitions(lab.Context(), c, list, nil))
	return c
}

func blanks(files ...string) string {
	var lines []string
	for i, file := range files {
		lines = append(lines, fmt.Sprintf("%d,R1,,%s,,S-1,sample,", i+1, file))
	}
	return worklistText("G-1", "1", "methanol", "GC-1", "", lines...)
}

func TestEqualBytesUnderTwoNames(t *testing.T) {
	for name, c := range map[string]struct {
		before, after string // worklist
		members       int
		duplicates    int
	}{
		"worklist names both":             {before: blanks("a.csv", "b.csv"), members: 2},
		"worklist that comes names both":  {after: blanks("a.csv", "b.csv"), members: 2},
		"worklist names the first":        {before: blanks("a.csv"), members: 1, duplicates: 1},
		"worklist that comes names first": {after: blanks("a.csv"), members: 1, duplicates: 1},
		"worklist that comes names other": {after: blanks("b.csv"), members: 1},
		"no worklist":                     {duplicates: 1},
	} {
		t.Run(name, func(t *testing.T) {
			lab := newLaboratory(t)
			lab.documents(methodText("methanol", "1", methanolAnalyte, standing))
			if c.before != "" {
				lab.documents(c.before)
			}
			first := lab.blank("a.csv")
			lab.blank("b.csv")
			if c.after != "" {
				lab.documents(c.after)
			}
			if n := one[int](lab, "select count(*) from core.acquisition"); n != 2 {
				t.Errorf("%d acquisitions, want 2", n)
			}
			if n := one[int](lab, "select count(*) from core.member"); n != c.members {
				t.Errorf("%d members, want %d", n, c.members)
			}
			if n := one[int](lab, "select count(*) from core.arrival where duplicate_of = $1 and path_text = 'b.csv' and state = 'recorded'", first.ID); n != c.duplicates {
				t.Errorf("%d duplicates, want %d", n, c.duplicates)
			}
			if n := one[int](lab, "select count(*) from core.arrival where duplicate_of is not null"); n != c.duplicates {
				t.Errorf("%d duplicates in all, want %d", n, c.duplicates)
			}
		})
	}
}

// TestCopyOfAFileWithKeysOfItsOwn: the content says which acquisitions these are, so a
// copy brings nothing new.
func TestCopyOfAFileWithKeysOfItsOwn(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	data := fmt.Appendf(nil, "%s %v", "GC-1", goodMethanol) // as export writes them
	c := lab.take(lab.arrival("GC-1", record.HoldsExports, "GC-1", "copy.csv", data))
	lab.must(lab.RecordAcquisitions(t.Context(), c, lab.acquisitions(c, goodMethanol), nil))
	if got := one[string](lab, "select o.path_text from core.arrival a join core.arrival o on o.id = a.duplicate_of where a.id = $1", c.ID); got != "peaks.csv" {
		t.Errorf("duplicate of %s", got)
	}
	lab.settle()
	lab.wantEvents(seq)
	lab.check()
}

// TestRevisedNameLeavesItsLine: an export that comes again with another vial no longer
// is what the line names.
func TestRevisedNameLeavesItsLine(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	lab.export("GC-1", "peaks.csv", reading{vial: "9", value: 300, minute: 2, key: "run/2"})
	lab.wantEvents(seq, "withdrawn S-1 methanol as is 1", "withdrawn S-1 methanol per hL of pure alcohol 1")
	snap := lab.snapshot(lab.batch("G-1"))
	if m := snap.Input.Members[1]; m.State != qc.MemberAwaited || m.Acquisition != nil {
		t.Errorf("line 2: %+v", m)
	}
	if len(snap.Input.Unlisted) != 1 || snap.Input.Unlisted[0].Acquisition.Key != "run/2" {
		t.Errorf("unlisted: %+v", snap.Input.Unlisted)
	}
	lab.settle()
	lab.want("S-1", methanol, "1 withdrawn")
	// And back again.
	lab.export("GC-1", "peaks.csv", goodMethanol...)
	lab.settle()
	lab.want("S-1", methanol, "1 superseded, 2 released")
	lab.check()
}

func TestUnlistedAcquisitions(t *testing.T) {
	lab := ready(t)
	lab.export("GC-1", "peaks.csv", goodMethanol...)
	lab.export("GC-1", "inside.csv", reading{vial: "21", value: 5, minute: 3, key: "stray/inside"})
	lab.export("GC-1", "after.csv", reading{vial: "22", value: 5, minute: 50, key: "stray/after"})
	lab.export("DM-1", "other.csv", reading{vial: "23", value: 5, minute: 3, key: "stray/other instrument"})
	snap := lab.snapshot(lab.batch("G-1"))
	var keys []string
	for _, u := range snap.Input.Unlisted {
		keys = append(keys, u.Acquisition.Key)
	}
	if !slices.Equal(keys, []string{"stray/inside"}) {
		t.Errorf("unlisted: %q, want the one within the run", keys)
	}
	lab.settle()
	lab.want("S-1", methanol, "1 released") // a finding, nothing that holds
}

func TestReductionsAreFoundByPlan(t *testing.T) {
	lab := ready(t)
	c := lab.takeExport("DM-1", "density.csv", "x")
	list := lab.acquisitions(c, goodStrength)
	m, err := method.Parse("method.yaml", []byte(methodText("strength", "1", strengthAnalyte, standing)))
	lab.must(err)
	plan, err := record.ParseHash(qc.NewPlan(m).Digest())
	lab.must(err)
	body := custody.HashOf([]byte("reduction"))
	list[0].Reductions = []record.Reduction{{Plan: plan, Engine: qc.Engine, Object: body, Size: 9}}
	list[1].Reductions = []record.Reduction{{Plan: custody.HashOf([]byte("another plan")), Engine: qc.Engine, Object: body, Size: 9}}
	list[2].Reductions = []record.Reduction{{Plan: plan, Engine: "another engine", Object: body, Size: 9}}
	lab.must(lab.RecordAcquisitions(t.Context(), c, list, nil))
	s := lab.snapshot(lab.batch("D-1"))
	if s.Plan != plan {
		t.Errorf("the batch's plan is %s, want %s", s.Plan, plan)
	}
	for i, want := range []bool{true, false, false, false} {
		source := s.Sources[i]
		if (source.Reduction != nil) != want || want && *source.Reduction != body {
			t.Errorf("position %d: reduction %v", i+1, source.Reduction)
		}
		if source.Record != i+1 || source.Arrival.PathText != "density.csv" || string(source.Arrival.Path) != "density.csv" || source.Arrival.Object != c.Object || source.Arrival.Root != "DM-1" {
			t.Errorf("position %d: %+v", i+1, source)
		}
	}
	later := custody.HashOf([]byte("made later"))
	for range 2 {
		lab.must(lab.WriteReductions(t.Context(), archive, s.Sources[3].Revision, []record.Reduction{{Plan: plan, Engine: qc.Engine, Object: later, Size: 10}}))
	}
	if source := lab.snapshot(s.Batch).Sources[3]; source.Reduction == nil || *source.Reduction != later {
		t.Errorf("after it was made: %v", source.Reduction)
	}
}
