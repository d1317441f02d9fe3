package store_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"underbond/ingest/record"
	"underbond/qc"
)

func TestReadersSeeWhatWasReleased(t *testing.T) {
	lab := released(t)
	results, err := lab.Released(t.Context())
	lab.must(err)
	found := map[string]string{}
	for _, r := range results {
		found[r.Sample+" "+r.Analyte+" "+r.Basis] = r.Reported + " " + r.Unit
		if r.Revision != 1 || !strings.HasPrefix(r.Authoriser, "standing authorisation of Tomas Vell (invented) for ") || r.Value == nil || r.Censored != "" {
			t.Errorf("%+v", r)
		}
	}
	// 300 mg/L at 40 % vol are 75 g/hL p.a., 500 mg/L at 50 % vol are 100.
	for key, want := range map[string]string{
		"S-1 strength as is": "40.0 % vol", "S-2 strength as is": "50.0 % vol", "S-1 methanol as is": "300.0 mg/L", "S-2 methanol as is": "500.0 mg/L",
		"S-1 methanol per hL of pure alcohol": "75.0 g/hL p.a.", "S-2 methanol per hL of pure alcohol": "100.0 g/hL p.a.",
	} {
		if found[key] != want {
			t.Errorf("%s: %q, want %q", key, found[key], want)
		}
	}
	if len(results) != 6 {
		t.Errorf("%d released results, want 6", len(results))
	}
	lot := one[string](lab, "select lot from lims.released_result where sample = 'S-2' and analyte = 'methanol' and basis = 'as is'")
	if lot != "L8" {
		t.Errorf("lot %q", lot)
	}
	if n := one[int](lab, "select count(*) from classifier.feature where claim is not null and value is not null"); n != 6 {
		t.Errorf("%d features, want 6", n)
	}
	if n := one[int](lab, `select count(*) from lims.released_result r join lims.feed f on f.cursor = r.cursor and f.result = r.result and f.event = 'released'
		where f.value = r.value and f.reported = r.reported and f.unit = r.unit and f.authoriser = r.authoriser and f.at = r.released_at`); n != 6 {
		t.Errorf("%d released results agree with the feed, want 6", n)
	}
	progress, err := lab.Progress(t.Context())
	lab.must(err)
	if progress.Released != 6 || progress.Held != 0 || progress.Due != 0 || progress.Recorded != 8 {
		t.Errorf("progress: %+v", progress)
	}
	n, err := lab.CountReleased(t.Context(), []string{"S-1", "S-1", "S-9"}, []string{"methanol", "strength", "methanol"}, []string{"as is", "as is", "as is"})
	if err != nil || n != 2 {
		t.Errorf("%d of three are released (%v), want 2", n, err)
	}
	seqs := one[int](lab, "select count(*) from ledger.entry where kind = 'evaluated' and reason in ('2 released', '4 released')")
	if seqs != 2 {
		t.Errorf("%d entries say what was released, want 2", seqs)
	}
}

func TestWithdrawnValuesAreNotInTheFeed(t *testing.T) {
	lab := released(t)
	lab.export("DM-1", "density.csv", with(goodStrength, "2", 41)...)
	if n := one[int](lab, "select count(*) from lims.feed where event = 'withdrawn' and (value is not null or reported is not null or reason = '')"); n != 0 {
		t.Errorf("%d withdrawals show a value or no reason", n)
	}
	if n := one[int](lab, "select count(*) from lims.released_result where sample = 'S-1'"); n != 1 {
		t.Errorf("%d results of S-1 are shown as released, want methanol as is alone", n)
	}
	if n := one[int](lab, "select count(*) from classifier.feature where sample = 'S-1'"); n != 1 {
		t.Errorf("%d features of S-1, want 1", n)
	}
}

func TestUnchangedInputWritesNothing(t *testing.T) {
	lab := released(t)
	seq, evaluations := lab.seq(), one[int](lab, "select count(*) from core.evaluation")
	lab.exec("update core.batch set version = version + 1")
	lab.settle()
	if lab.seq() != seq || one[int](lab, "select count(*) from core.evaluation") != evaluations {
		t.Error("evaluating the same input again has written")
	}
	lab.export("GC-1", "peaks.csv", goodMethanol...) // the same content again
	lab.settle()
	if got := lab.events(seq); len(got) > 0 || one[int](lab, "select count(*) from core.evaluation") != evaluations {
		t.Errorf("the same export again has an effect: %q", got)
	}
	if n := one[int](lab, "select max(number) from core.acquisition_revision"); n != 1 {
		t.Errorf("revision %d of an acquisition that did not change", n)
	}
	lab.check()
}

func TestOneChangedNumberRevisesOneAcquisition(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	lab.export("GC-1", "peaks.csv", with(goodMethanol, "3", 501)...)
	if lab.seq() != seq+2 { // arrival and record
		t.Errorf("%d entries, want 2", lab.seq()-seq)
	}
	lab.wantEvents(seq, "withdrawn S-2 methanol as is 1", "withdrawn S-2 methanol per hL of pure alcohol 1")
	if n := one[int](lab, "select count(*) from core.acquisition_revision where number = 2"); n != 1 {
		t.Errorf("%d acquisitions revised, want 1", n)
	}
	if reason := one[string](lab, "select distinct reason from lims.feed where event = 'withdrawn'"); reason != "source changed: peaks.csv" {
		t.Errorf("reason %q", reason)
	}
	lab.settle()
	lab.want("S-2", methanol, "1 superseded, 2 released")
	lab.want("S-1", methanol, "1 released")
	lab.wantEvents(seq, "withdrawn S-2 methanol as is 1", "withdrawn S-2 methanol per hL of pure alcohol 1",
		"released S-2 methanol as is 2", "released S-2 methanol per hL of pure alcohol 2")
	lab.check()
}

func TestRevisedQualityControlWithdrawsTheBatch(t *testing.T) {
	for name, c := range map[string]struct {
		value float64
		want  string
	}{"still passes": {102, "1 superseded, 2 released"}, "fails now": {130, "1 superseded, 2 held"}} {
		t.Run(name, func(t *testing.T) {
			lab := released(t)
			seq := lab.seq()
			lab.export("GC-1", "peaks.csv", with(goodMethanol, "4", c.value)...)
			lab.wantEvents(seq, "withdrawn S-1 methanol as is 1", "withdrawn S-1 methanol per hL of pure alcohol 1",
				"withdrawn S-2 methanol as is 1", "withdrawn S-2 methanol per hL of pure alcohol 1")
			lab.settle()
			lab.want("S-1", methanol, c.want)
			lab.want("S-2", methanol, c.want)
			lab.want("S-1", strengthAsI, "1 released")
			lab.check()
		})
	}
}

func TestStrengthCascade(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	lab.export("DM-1", "density.csv", with(goodStrength, "2", 41)...)
	lab.wantEvents(seq, "withdrawn S-1 strength as is 1", "withdrawn S-1 methanol per hL of pure alcohol 1")
	if n := one[int](lab, "select count(distinct seq) from ledger.event where seq > $1", seq); n != 1 {
		t.Errorf("withdrawn in %d transactions, want 1", n)
	}
	lab.settle()
	lab.want("S-1", strengthAsI, "1 superseded, 2 released")
	lab.want("S-1", methanolPA, "1 superseded, 2 released")
	lab.want("S-1", methanol, "1 released") // as-is values stay
	lab.want("S-2", methanolPA, "1 released")
	if got := one[string](lab, "select reported from lims.released_result where sample = 'S-1' and basis = 'per hL of pure alcohol'"); got != "73.2" {
		t.Errorf("%s g/hL p.a., want 73.2", got)
	}
	lab.check()
}

func TestStrengthThatDoesNotComeBack(t *testing.T) {
	lab := released(t)
	lab.export("DM-1", "density.csv", with(goodStrength, "4", 48)...) // the closing check standard fails
	lab.settle()
	lab.want("S-1", strengthAsI, "1 superseded, 2 held")
	lab.want("S-1", methanolPA, "1 superseded, 2 held")
	lab.want("S-1", methanol, "1 released")
	held, err := lab.Held(t.Context())
	lab.must(err)
	rules := map[string]string{}
	for _, h := range held {
		rules[h.Sample+" "+h.Analyte+" "+h.Basis] += h.Rule + "/" + h.Verdict
	}
	if got := rules["S-1 methanol per hL of pure alcohol"]; got != "strength available/pending" {
		t.Errorf("held by %q, want the strength", got)
	}
	if got := rules["S-1 strength as is"]; got != "check standard recovery/fail" {
		t.Errorf("held by %q, want the check standard", got)
	}
	lab.check()
}

func TestMerelyNewerStrengthChangesNothing(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	lab.documents(worklistText("D-2", "1", "strength", "DM-1", "", "1,R2,,,11,,check standard,C-S", "2,R2,,,12,S-1,sample,", "3,R2,,,13,,check standard,C-S"))
	lab.export("DM-1", "later.csv", reading{vial: "11", value: 40}, reading{vial: "12", value: 38}, reading{vial: "13", value: 40})
	lab.settle()
	lab.wantEvents(seq, "released S-1 strength as is 1")
	lab.want("S-1", methanolPA, "1 released")
	// The one that was used is withdrawn for good: now the other one counts.
	lab.export("DM-1", "density.csv", with(goodStrength, "4", 48)...)
	lab.settle()
	lab.want("S-1", methanolPA, "1 superseded, 2 released")
	if got := one[string](lab, "select reported from lims.released_result where sample = 'S-1' and basis = 'per hL of pure alcohol'"); got != "78.9" {
		t.Errorf("%s g/hL p.a., want 78.9 from 38 %% vol", got)
	}
	lab.check()
}

// correct changes the value of one result in an evaluation, as a newer engine might.
func correct(e record.Evaluated, sample string, value float64, reported string) record.Evaluated {
	for i := range e.Evaluation.Results {
		if r := &e.Evaluation.Results[i]; r.Sample == sample && r.Basis == qc.BasisAsIs {
			r.Value, r.Reported = &value, reported
		}
	}
	e.Input[0]++ // another input than the one before
	return e
}

func TestCorrectedShowsOldAndNew(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	batch := lab.batch("D-1")
	lab.exec("update core.batch set version = version + 1 where id = $1", batch)
	snap := lab.snapshot(batch)
	lab.must(lab.WriteEvaluation(t.Context(), snap, correct(lab.evaluated(snap), "S-1", 40.5, "40.5")))
	lab.wantEvents(seq, "corrected S-1 strength as is 2", "withdrawn S-1 methanol per hL of pure alcohol 1")
	lab.want("S-1", strengthAsI, "1 superseded, 2 released")
	got := one[string](lab, `select concat_ws(' ', previous_revision, previous_value, previous_reported, revision, value, reported) from lims.feed where event = 'corrected'`)
	if got != "1 40 40.0 2 40.5 40.5" {
		t.Errorf("old and new: %s", got)
	}
	lab.settle()
	lab.want("S-1", methanolPA, "1 superseded, 2 released")
	lab.check()
}

func TestLaterEvidenceWithdraws(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	lab.export("GC-1", "again.csv", reading{vial: "2", value: 310, minute: 20, key: "run-again/2"})
	lab.settle()
	lab.wantEvents(seq, "withdrawn S-1 methanol as is 1", "withdrawn S-1 methanol per hL of pure alcohol 1")
	var states []string
	for name, state := range lab.publications("S-1") {
		if strings.HasPrefix(name, methanol) {
			states = append(states, state)
		}
	}
	if got := one[string](lab, "select string_agg(v.publication, ' ' order by r.public_id) from core.result r join core.result_revision v on v.id = r.head where r.sample = 'S-1' and r.analyte = 'methanol' and r.basis = 'as is'"); got != "held held" {
		t.Errorf("two acquisitions for one line: %s (%q), want both held", got, states)
	}
	if reason := one[string](lab, "select reason from lims.feed where event = 'withdrawn' and basis = 'as is'"); !strings.HasPrefix(reason, "later evidence: 2 acquisitions claim the sample S-1 at position 2") {
		t.Errorf("reason: %s", reason)
	}
	lab.want("S-2", methanol, "1 released")
	lab.check()
}

func TestTwoAcquisitionsForOneLineInAnyOrder(t *testing.T) {
	lab := ready(t)
	lab.export("GC-1", "again.csv", reading{vial: "2", value: 310, minute: 20, key: "run-again/2"})
	lab.export("GC-1", "peaks.csv", goodMethanol...)
	lab.settle()
	if n := one[int](lab, "select count(*) from core.result r join core.result_revision v on v.id = r.head where r.sample = 'S-1' and v.publication = 'held' and v.value is null"); n != 4 {
		t.Errorf("%d held results without a value, want 2 analyte bases of 2 acquisitions", n)
	}
	snap := lab.snapshot(lab.batch("G-1"))
	if m := snap.Input.Members[1]; m.State != qc.MemberAmbiguous || m.Acquisition != nil || len(m.Claimants) != 2 || snap.Sources[1] != nil {
		t.Errorf("%+v", m)
	}
	if snap.Input.Batch.Closed {
		t.Error("a batch in which a decision is due is not complete")
	}
	lab.check()
}

func TestVanishedResults(t *testing.T) {
	without := func(version string) string {
		return worklistText("G-1", version, "methanol", "GC-1", "S-2 was never in the run", "1,R1,,,1,,check standard,C-M", "2,R1,P1,,2,S-1,sample,", "4,R1,,,4,,check standard,C-M")
	}
	with3 := worklistText("G-1", "3", "methanol", "GC-1", "it was in the run", "1,R1,,,1,,check standard,C-M", "2,R1,P1,,2,S-1,sample,", "3,R1,P1,,3,S-2,sample,", "4,R1,,,4,,check standard,C-M")
	t.Run("released", func(t *testing.T) {
		lab := released(t)
		lab.documents(without("2"))
		lab.want("S-2", methanol, "1 withdrawn")
		lab.settle()
		lab.want("S-1", methanol, "1 superseded, 2 released")
		lab.want("S-2", methanol, "1 withdrawn")
		lab.documents(with3)
		lab.settle()
		lab.want("S-2", methanol, "1 superseded, 2 released")
		lab.check()
	})
	t.Run("held", func(t *testing.T) {
		lab := ready(t)
		lab.export("GC-1", "peaks.csv", with(goodMethanol, "4", 130)...)
		lab.settle()
		lab.want("S-2", methanol, "1 held")
		lab.documents(without("2"))
		lab.settle()
		lab.want("S-2", methanol, "1 superseded")
		lab.documents(with3)
		lab.settle()
		lab.want("S-2", methanol, "1 superseded, 2 held")
		lab.check()
	})
	t.Run("in an evaluation", func(t *testing.T) {
		lab := released(t)
		seq := lab.seq()
		batch := lab.batch("D-1")
		lab.exec("update core.batch set version = version + 1 where id = $1", batch)
		snap := lab.snapshot(batch)
		e := lab.evaluated(snap)
		e.Evaluation.Results, e.Input[0] = e.Evaluation.Results[1:], e.Input[0]+1
		lab.must(lab.WriteEvaluation(t.Context(), snap, e))
		lab.wantEvents(seq, "withdrawn S-1 strength as is 1", "withdrawn S-1 methanol per hL of pure alcohol 1")
		lab.check()
	})
}

func TestMethodWithNamedPersonsWaitsForOne(t *testing.T) {
	lab := newLaboratory(t)
	lab.documents(methodText("methanol", "1", methanolAnalyte, persons), standardsV1, registerV1, bracketed("G-1", "methanol", "GC-1", "C-M"))
	lab.export("GC-1", "peaks.csv", goodMethanol...)
	lab.settle()
	lab.want("S-1", methanol, "1 cleared")
	lab.wantEvents(0)
	lab.export("GC-1", "peaks.csv", with(goodMethanol, "2", 301)...)
	lab.settle()
	lab.want("S-1", methanol, "1 superseded, 2 cleared")
	lab.want("S-2", methanol, "1 cleared")
	lab.export("GC-1", "peaks.csv", with(goodMethanol, "4", 130)...)
	lab.settle()
	lab.want("S-2", methanol, "1 superseded, 2 held")
	lab.wantEvents(0)
	if results, err := lab.Released(t.Context()); err != nil || len(results) > 0 {
		t.Errorf("released without a person: %+v (%v)", results, err)
	}
	lab.check()
}

func TestNotANumberIsRefused(t *testing.T) {
	for name, value := range map[string]float64{"NaN": math.NaN(), "infinity": math.Inf(1), "minus infinity": math.Inf(-1)} {
		t.Run(name, func(t *testing.T) {
			lab := ready(t)
			lab.export("DM-1", "density.csv", goodStrength...)
			snap := lab.snapshot(lab.batch("D-1"))
			seq := lab.seq()
			e := correct(lab.evaluated(snap), "S-1", value, "40.0")
			if err := lab.WriteEvaluation(t.Context(), snap, e); err == nil {
				t.Error("written")
			}
			if lab.seq() != seq || one[int](lab, "select count(*) from core.result") != 0 {
				t.Error("something of it was written")
			}
			lab.settle()
			for _, column := range []string{"value", "lod", "loq", "standard_uncertainty"} {
				_, err := lab.admin.Exec(t.Context(), `insert into core.result_revision select (jsonb_populate_record(v, jsonb_build_object('id', v.id + 100, 'number', 9, 'publication', 'held', '`+column+`', $1::text))).*
					from core.result_revision v order by id limit 1`, map[string]string{"NaN": "NaN", "infinity": "Infinity", "minus infinity": "-Infinity"}[name])
				if err == nil || !strings.Contains(err.Error(), "23514") && !strings.Contains(err.Error(), "428C9") {
					t.Errorf("%s: %v", column, err)
				}
			}
		})
	}
}

func TestAtMostOneRevisionIsReleased(t *testing.T) {
	lab := released(t)
	_, err := lab.admin.Exec(t.Context(), `insert into core.result_revision (result, number, evaluation, acquisition_revision, digest, position, value, reported, unit, censored, qualifiers, quantity, kind, cas, notices, disposition, publication, authoriser)
		select result, 2, evaluation, acquisition_revision, digest, position, value, reported, unit, censored, qualifiers, quantity, kind, cas, notices, disposition, publication, authoriser from core.result_revision limit 1`)
	if err == nil || !strings.Contains(err.Error(), "result_released_once") {
		t.Errorf("a second released revision: %v", err)
	}
	for name, sql := range map[string]string{
		"back from withdrawn":       "update core.result_revision set publication = 'withdrawn'; update core.result_revision set publication = 'released'",
		"held after released":       "update core.result_revision set publication = 'held'",
		"rejected after released":   "update core.result_revision set publication = 'rejected'",
		"released and held":         "update core.result_revision set disposition = 'held'",
		"value changed":             "update core.result_revision set value = 1",
		"authoriser taken away":     "update core.result_revision set authoriser = ''",
		"censored with a number":    "update core.result_revision set censored = 'below LOQ'",
		"out of a final superseded": "update core.result_revision set publication = 'superseded'; update core.result_revision set publication = 'held'",
	} {
		if _, err := lab.admin.Exec(t.Context(), sql); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	lab.check()
}

func TestStaleEvaluations(t *testing.T) {
	t.Run("the batch moved", func(t *testing.T) {
		lab := ready(t)
		lab.export("DM-1", "density.csv", goodStrength[:3]...)
		snap := lab.snapshot(lab.batch("D-1"))
		e := lab.evaluated(snap)
		lab.export("DM-1", "density-2.csv", goodStrength[3])
		lab.wantStale(snap, e)
	})
	t.Run("a result that it uses was withdrawn", func(t *testing.T) {
		lab := ready(t)
		lab.export("DM-1", "density.csv", goodStrength...)
		lab.settle()
		lab.export("GC-1", "peaks.csv", goodMethanol...)
		snap := lab.snapshot(lab.batch("G-1"))
		e := lab.evaluated(snap)
		lab.export("DM-1", "density.csv", with(goodStrength, "2", 41)...)
		if version := one[int64](lab, "select version from core.batch where name = 'G-1'"); version != snap.Version {
			t.Fatalf("the batch moved to version %d: this tests the wrong thing", version)
		}
		lab.wantStale(snap, e)
	})
	t.Run("a result that it uses was corrected", func(t *testing.T) {
		lab := ready(t)
		lab.export("DM-1", "density.csv", goodStrength...)
		lab.settle()
		lab.export("GC-1", "peaks.csv", goodMethanol...)
		snap := lab.snapshot(lab.batch("G-1"))
		e := lab.evaluated(snap)
		lab.export("DM-1", "density.csv", with(goodStrength, "2", 41)...)
		strengths := lab.snapshot(lab.batch("D-1"))
		lab.must(lab.WriteEvaluation(t.Context(), strengths, lab.evaluated(strengths)))
		lab.wantStale(snap, e)
	})
	t.Run("written before", func(t *testing.T) {
		lab := ready(t)
		lab.export("DM-1", "density.csv", goodStrength...)
		snap := lab.snapshot(lab.batch("D-1"))
		e := lab.evaluated(snap)
		lab.must(lab.WriteEvaluation(t.Context(), snap, e))
		seq := lab.seq()
		lab.must(lab.WriteEvaluation(t.Context(), snap, e)) // as after a lost answer, or by another daemon
		if lab.seq() != seq {
			t.Error("written twice")
		}
		lab.check()
	})
}

func (lab *laboratory) wantStale(snap *record.Snapshot, e record.Evaluated) {
	lab.Helper()
	seq := lab.seq()
	if err := lab.WriteEvaluation(lab.Context(), snap, e); !errors.Is(err, record.ErrStale) {
		lab.Errorf("%v, want ErrStale", err)
	}
	if lab.seq() != seq {
		lab.Error("a stale evaluation was written")
	}
	lab.settle()
	lab.check()
}

func TestIdleBatchIsClosedAndLacks(t *testing.T) {
	lab := ready(t)
	lab.export("GC-1", "peaks.csv", goodMethanol[:3]...)
	lab.settle()
	verdict := func() string {
		return one[string](lab, "select string_agg(verdict, ' ') from core.verdict where current and rule = 'check standard recovery' and 4 = any(positions)")
	}
	if got := verdict(); got != "pending" {
		t.Errorf("open: %s", got)
	}
	if names, err := lab.CloseIdle(t.Context(), time.Hour); err != nil || len(names) > 0 {
		t.Errorf("closed before its time: %v, %v", names, err)
	}
	lab.exec("update core.batch set changed_at = changed_at - interval '2 hours'")
	names, err := lab.CloseIdle(t.Context(), time.Hour)
	if err != nil || len(names) != 1 || names[0] != "G-1" {
		t.Fatalf("closed %v (%v), want G-1; D-1 has no acquisition and stays open", names, err)
	}
	lab.settle()
	if got := verdict(); got != "missing" {
		t.Errorf("closed: %s", got)
	}
	if got := one[string](lab, "select v.publication from core.result r join core.result_revision v on v.id = r.head where r.sample = 'S-1' and r.basis = 'as is'"); got != "held" {
		t.Errorf("closed without its last check standard: %s", got)
	}
	if names, err := lab.CloseIdle(t.Context(), time.Hour); err != nil || len(names) > 0 {
		t.Errorf("closed twice: %v, %v", names, err)
	}
	// It comes after all: evidence counts whenever it arrives.
	lab.export("GC-1", "late.csv", goodMethanol[3])
	lab.settle()
	if got := verdict(); got != "pass" {
		t.Errorf("after the late file: %s", got)
	}
	if got := one[string](lab, "select v.publication from core.result r join core.result_revision v on v.id = r.head where r.sample = 'S-1' and r.basis = 'as is'"); got != "released" {
		t.Errorf("after the late file: %s", got)
	}
	lab.check()
}

func TestBatchThatCannotBeEvaluated(t *testing.T) {
	lab := ready(t)
	lab.export("GC-1", "peaks.csv", goodMethanol[:3]...)
	snap := lab.snapshot(lab.batch("G-1"))
	lab.export("GC-1", "late.csv", goodMethanol[3])
	lab.must(lab.NoteBatch(t.Context(), snap.Batch, snap.Version, "method, analyte methanol: no such unit"))
	if due, err := lab.Due(t.Context(), 10); err != nil || len(due) != 1 {
		t.Errorf("a note about an older version hides a newer one: due %v (%v)", due, err)
	}
	if waits := one[string](lab, "select waiting_for from core.batch where name = 'G-1'"); waits != "" {
		t.Errorf("a note about an older version is shown: %q", waits)
	}
	snap = lab.snapshot(lab.batch("G-1"))
	lab.must(lab.NoteBatch(t.Context(), snap.Batch, snap.Version, "method, analyte methanol: no such unit"))
	if due, err := lab.Due(t.Context(), 10); err != nil || len(due) != 0 {
		t.Errorf("due %v (%v), want none", due, err)
	}
	if waits := one[string](lab, "select waiting_for from core.batch where name = 'G-1'"); waits != "method, analyte methanol: no such unit" {
		t.Errorf("noted: %q", waits)
	}
	lab.export("GC-1", "late.csv", with(goodMethanol, "4", 102)[3])
	lab.settle()
	if waits := one[string](lab, "select waiting_for from core.batch where name = 'G-1'"); waits != "" {
		t.Errorf("still noted after it was evaluated: %q", waits)
	}
}
