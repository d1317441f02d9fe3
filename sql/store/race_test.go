package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"underbond/ingest/record"
	"underbond/ingest/worker"
)

// race holds transactions at their last statement, the ledger's, so that two of them are
// under way at the same time.
type race struct {
	*laboratory
	group   errgroup.Group
	waiting int
	release func()
}

func newRace(lab *laboratory) *race {
	lab.Helper()
	conn := lab.connect()
	tx, err := conn.Begin(lab.Context())
	lab.must(err)
	_, err = tx.Exec(lab.Context(), "select seq from ledger.head for update")
	lab.must(err)
	r := &race{laboratory: lab}
	r.release = func() { lab.must(tx.Rollback(context.WithoutCancel(lab.Context()))) }
	return r
}

// start runs a transaction until it waits for something.
func (r *race) start(name string, write func() error) {
	r.Helper()
	r.group.Go(write)
	r.waiting++
	for until := time.Now().Add(8 * time.Second); ; {
		n := one[int](r.laboratory, "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'")
		if n >= r.waiting {
			return
		}
		if time.Now().After(until) {
			r.Fatalf("%s does not wait: %d transactions do", name, n)
		}
	}
}

// finish lets all go on.
func (r *race) finish() {
	r.Helper()
	r.release()
	r.must(r.group.Wait())
}

func (lab *laboratory) takeExport(instrument, file, content string) *record.Claim {
	lab.Helper()
	return lab.take(lab.arrival(instrument, record.HoldsExports, instrument, file, []byte(content)))
}

// TestWithdrawalSeesWhatIsBeingReleased: a result per volume of pure alcohol is being
// released while the strength that it was computed with is withdrawn.
func TestWithdrawalSeesWhatIsBeingReleased(t *testing.T) {
	lab := ready(t)
	lab.export("DM-1", "density.csv", goodStrength...)
	lab.settle()
	lab.export("GC-1", "peaks.csv", goodMethanol...)
	snap := lab.snapshot(lab.batch("G-1"))
	evaluated := lab.evaluated(snap)
	c := lab.takeExport("DM-1", "density.csv", "changed")
	list := lab.acquisitions(c, with(goodStrength, "2", 41))
	seq := lab.seq()

	r := newRace(lab)
	r.start("the release", func() error { return lab.WriteEvaluation(t.Context(), snap, evaluated) })
	r.start("the withdrawal", func() error { return lab.RecordAcquisitions(t.Context(), c, list, nil) })
	r.finish()

	lab.want("S-1", methanolPA, "1 withdrawn")
	lab.want("S-2", methanolPA, "1 released")
	lab.want("S-1", strengthAsI, "1 withdrawn")
	if got := one[int](lab, "select count(distinct seq) from ledger.event where kind = 'withdrawn' and seq > $1", seq); got != 1 {
		t.Errorf("withdrawn in %d transactions, want 1", got)
	}
	lab.settle()
	lab.want("S-1", methanolPA, "1 superseded, 2 released")
	lab.check()
}

// TestEvidenceChangesWhileItIsReleased: a result is being released while its acquisition,
// or the quality control of its batch, gets another content.
func TestEvidenceChangesWhileItIsReleased(t *testing.T) {
	for name, c := range map[string]struct {
		vial   string
		s1, s2 string
	}{"the sample": {"2", "1 withdrawn", "1 released"}, "the check standard": {"4", "1 withdrawn", "1 withdrawn"}} {
		t.Run(name, func(t *testing.T) {
			lab := ready(t)
			lab.export("GC-1", "peaks.csv", goodMethanol...)
			snap := lab.snapshot(lab.batch("G-1"))
			evaluated := lab.evaluated(snap)
			claim := lab.takeExport("GC-1", "peaks.csv", "changed")
			list := lab.acquisitions(claim, with(goodMethanol, c.vial, 102))

			r := newRace(lab)
			r.start("the release", func() error { return lab.WriteEvaluation(t.Context(), snap, evaluated) })
			r.start("the change", func() error { return lab.RecordAcquisitions(t.Context(), claim, list, nil) })
			r.finish()

			lab.want("S-1", methanol, c.s1)
			lab.want("S-2", methanol, c.s2)
			lab.settle()
			lab.check()
		})
	}
}

// TestTwoDaemonsEvaluateAtOnce: the second finds that the first has done it.
func TestTwoDaemonsEvaluateAtOnce(t *testing.T) {
	lab := ready(t)
	lab.export("DM-1", "density.csv", goodStrength...)
	snap := lab.snapshot(lab.batch("D-1"))
	evaluated, other := lab.evaluated(snap), lab.open()
	seq := lab.seq()
	r := newRace(lab)
	r.start("the first", func() error { return lab.WriteEvaluation(t.Context(), snap, evaluated) })
	r.start("the second", func() error { return other.WriteEvaluation(t.Context(), snap, evaluated) })
	r.finish()
	if lab.seq() != seq+1 {
		t.Errorf("%d entries, want 1", lab.seq()-seq)
	}
	lab.want("S-1", strengthAsI, "1 released")
	lab.check()
}

// TestRegisterCorrectedWhileItsBatchIsReleased is the same for facts.
func TestRegisterCorrectedWhileItsBatchIsReleased(t *testing.T) {
	lab := ready(t)
	lab.export("DM-1", "density.csv", goodStrength...)
	snap := lab.snapshot(lab.batch("D-1"))
	evaluated := lab.evaluated(snap)
	text := strings.Replace(strings.Replace(registerV1, "version,1", "version,2,author,Runa Falk (invented),reason,it is perry", 1), "L7,cider", "L7,perry", 1)
	claim, document := lab.takeDocument(text)

	r := newRace(lab)
	r.start("the release", func() error { return lab.WriteEvaluation(t.Context(), snap, evaluated) })
	r.start("the correction", func() error { return lab.RecordDocument(t.Context(), claim, document) })
	r.finish()

	lab.want("S-1", strengthAsI, "1 withdrawn")
	lab.settle()
	lab.want("S-1", strengthAsI, "1 superseded, 2 released")
	lab.check()
}

func (lab *laboratory) takeDocument(text string) (*record.Claim, *record.Document) {
	lab.Helper()
	c := lab.take(lab.arrival("documents", record.HoldsDocuments, "", "document.csv", []byte(text)))
	file := "document.csv"
	if strings.HasPrefix(text, "kind:") {
		file = "document.yaml"
	}
	d, refusal := worker.ReadDocument(file, c.Object, []byte(text))
	if refusal != nil {
		lab.Fatal(refusal)
	}
	return c, d
}

// TestWorklistAndExportAtOnce: neither may miss the other.
func TestWorklistAndExportAtOnce(t *testing.T) {
	for name, worklistFirst := range map[string]bool{"worklist first": true, "export first": false} {
		t.Run(name, func(t *testing.T) {
			lab := newLaboratory(t)
			lab.documents(methodText("methanol", "1", methanolAnalyte, standing), standardsV1, registerV1)
			document, parsed := lab.takeDocument(bracketed("G-1", "methanol", "GC-1", "C-M"))
			export := lab.takeExport("GC-1", "peaks.csv", "x")
			list := lab.acquisitions(export, goodMethanol)
			steps := []func() error{
				func() error { return lab.RecordDocument(t.Context(), document, parsed) },
				func() error { return lab.RecordAcquisitions(t.Context(), export, list, nil) },
			}
			if !worklistFirst {
				steps[0], steps[1] = steps[1], steps[0]
			}
			r := newRace(lab)
			r.start("the first", steps[0])
			r.start("the second", steps[1])
			r.finish()
			if n := one[int](lab, "select count(*) from core.member"); n != 4 {
				t.Errorf("%d acquisitions are bound, want 4", n)
			}
			if files, err := lab.WaitingFiles(t.Context()); err != nil || len(files) > 0 {
				t.Errorf("waiting: %+v (%v)", files, err)
			}
			lab.settle()
			lab.want("S-1", methanol, "1 released")
			lab.check()
		})
	}
}

// TestMethodAndExportAtOnce: the batch gets its method, whichever comes first.
func TestMethodAndExportAtOnce(t *testing.T) {
	lab := newLaboratory(t)
	lab.documents(standardsV1, registerV1, bracketed("G-1", "methanol", "GC-1", "C-M"))
	document, parsed := lab.takeDocument(methodText("methanol", "1", methanolAnalyte, standing))
	export := lab.takeExport("GC-1", "peaks.csv", "x")
	list := lab.acquisitions(export, goodMethanol)
	r := newRace(lab)
	r.start("the method", func() error { return lab.RecordDocument(t.Context(), document, parsed) })
	r.start("the export", func() error { return lab.RecordAcquisitions(t.Context(), export, list, nil) })
	r.finish()
	lab.settle()
	lab.want("S-1", methanol, "1 released")
	lab.check()
}

// TestProfileAndItsExportAtOnce: a file is parked while the profile that it needs is
// being recorded.
func TestProfileAndItsExportAtOnce(t *testing.T) {
	lab := newLaboratory(t)
	document, parsed := lab.takeDocument(profile("log"))
	export := lab.takeExport("GC-1", "peaks.csv", "x")
	r := newRace(lab)
	r.start("the profile", func() error { return lab.RecordDocument(t.Context(), document, parsed) })
	r.start("the file", func() error { return lab.Park(t.Context(), export, record.WaitProfile, "profile log") })
	r.finish()
	if state := one[string](lab, "select state from core.arrival where id = $1", export.ID); state != "in custody" {
		t.Errorf("the file is %s, want in custody: its profile is there", state)
	}
}

// TestOneAcquisitionFromTwoFilesAtOnce: two workers read the same acquisition.
func TestOneAcquisitionFromTwoFilesAtOnce(t *testing.T) {
	for name, c := range map[string]struct {
		known     bool
		second    []reading
		revisions int
	}{
		"new, same content":      {false, goodMethanol, 4},
		"new, other content":     {false, with(goodMethanol, "2", 301), 5},
		"revised, same content":  {true, goodMethanol, 8},
		"revised, other content": {true, with(goodMethanol, "2", 301), 9},
	} {
		t.Run(name, func(t *testing.T) {
			lab := ready(t)
			if c.known {
				var old []reading
				for _, r := range goodMethanol {
					old = append(old, reading{vial: r.vial, value: r.value + 1})
				}
				lab.export("GC-1", "old.csv", old...)
			}
			left, right := lab.takeExport("GC-1", "peaks.csv", "x"), lab.takeExport("GC-1", "copy.csv", "y")
			first, second := lab.acquisitions(left, goodMethanol), lab.acquisitions(right, c.second)
			r := newRace(lab)
			r.start("the first", func() error { return lab.RecordAcquisitions(t.Context(), left, first, nil) })
			r.start("the second", func() error { return lab.RecordAcquisitions(t.Context(), right, second, nil) })
			r.finish()
			if n := one[int](lab, "select count(*) from core.acquisition_revision"); n != c.revisions {
				t.Errorf("%d revisions, want %d", n, c.revisions)
			}
			if n := one[int](lab, "select count(*) from core.acquisition_revision a join core.acquisition_revision b on b.acquisition = a.acquisition and b.number = a.number + 1 and b.digest = a.digest"); n > 0 {
				t.Errorf("%d revisions repeat the one before", n)
			}
			lab.settle()
			lab.check()
		})
	}
}

// TestManyWorkers: whatever interleaves, the record ends as it would one by one.
func TestManyWorkers(t *testing.T) {
	lab := ready(t)
	var claims []*record.Claim
	var lists [][]record.Acquisition
	add := func(instrument, file string, readings []reading) {
		c := lab.takeExport(instrument, file, file)
		claims, lists = append(claims, c), append(lists, lab.acquisitions(c, readings))
	}
	for i, r := range goodStrength {
		add("DM-1", "density-"+r.vial, goodStrength[i:i+1])
	}
	for i, r := range goodMethanol {
		add("GC-1", "peaks-"+r.vial, goodMethanol[i:i+1])
	}
	var workers, evaluators errgroup.Group
	for i := range claims {
		workers.Go(func() error { return lab.RecordAcquisitions(t.Context(), claims[i], lists[i], nil) })
	}
	done := make(chan struct{})
	for range 2 {
		evaluators.Go(func() error { return lab.evaluateUntil(done) })
	}
	err := workers.Wait()
	close(done)
	lab.must(err)
	lab.must(evaluators.Wait())
	lab.settle()
	for _, sample := range []string{"S-1", "S-2"} {
		for _, result := range []string{strengthAsI, methanol, methanolPA} {
			if got := lab.publications(sample)[result]; !strings.HasSuffix(got, " released") {
				t.Errorf("%s %s: %q", sample, result, got)
			}
		}
	}
	lab.check()
}

// evaluateUntil evaluates what is due until done, as a daemon does; what is stale is left
// for the next turn.
func (lab *laboratory) evaluateUntil(done <-chan struct{}) error {
	ctx := lab.Context()
	for {
		select {
		case <-done:
			return nil
		default:
		}
		due, err := lab.Due(ctx, 10)
		if err != nil {
			return err
		}
		for _, batch := range due {
			snap, err := lab.Snapshot(ctx, batch)
			if err != nil {
				return err
			}
			evaluated, err := lab.evaluate(snap)
			if err != nil {
				return err
			}
			if err := lab.WriteEvaluation(ctx, snap, evaluated); err != nil && !errors.Is(err, record.ErrStale) {
				return err
			}
		}
	}
}
