package store_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"underbond/ingest/record"
)

func (lab *laboratory) wantConflict(err error, code string) {
	lab.Helper()
	var conflict *record.DocumentConflict
	if !errors.As(err, &conflict) || conflict.Code != code {
		lab.Errorf("%v, want a conflict %s", err, code)
	}
}

func TestOneContentAVersion(t *testing.T) {
	lab := newLaboratory(t)
	lab.documents(registerV1)
	lab.must(lab.document("copy.csv", registerV1)) // the very same bytes
	lab.wantConflict(lab.document("changed.csv", registerV1+"S-3,L9,perry spirit,Nether Orchard (invented)\n"), "document-version-changed")
	if n := one[int](lab, "select count(*) from core.document"); n != 1 {
		t.Errorf("%d documents, want 1", n)
	}
	if n := one[int](lab, "select count(*) from core.sample"); n != 2 {
		t.Errorf("%d samples, want 2", n)
	}
	files, err := lab.RefusedFiles(t.Context())
	lab.must(err)
	if len(files) != 1 || files[0].Path != "changed.csv" || !strings.Contains(files[0].Text, "new version") {
		t.Errorf("refused: %+v", files)
	}
	lab.check()
}

func TestDocumentsThatContradict(t *testing.T) {
	lab := ready(t)
	for name, c := range map[string]struct{ text, code string }{
		"batch moved to another method": {worklistText("G-1", "2", "strength", "GC-1", "typing error", "1,R1,,,1,S-1,sample,"), "worklist-changes-batch"},
		"batch moved to another instrument": {worklistText("G-1", "2", "methanol", "DM-1", "typing error", "1,R1,,,1,S-1,sample,"),
			"worklist-changes-batch"},
		"sample of another register":        {strings.Replace(registerV1, "county", "other", 1), "sample-registered-elsewhere"},
		"standard of another list":          {strings.Replace(standardsV1, "standards-2026", "other", 1), "standard-registered-elsewhere"},
		"method version with other content": {methodText("strength", "1", strengthAnalyte, persons), "document-version-changed"},
	} {
		t.Run(name, func(t *testing.T) {
			file := "document.csv"
			if strings.HasPrefix(c.text, "kind:") {
				file = "document.yaml"
			}
			lab.wantConflict(lab.document(file, c.text), c.code)
		})
	}
	if n := one[int](lab, "select count(*) from core.document"); n != 6 {
		t.Errorf("%d documents, want the 6 that were there", n)
	}
	if n := one[int](lab, "select count(*) from core.sample where current"); n != 2 {
		t.Errorf("%d samples in force, want 2", n)
	}
	lab.check()
}

func TestWorklistBeforeAndAfterExportsBind(t *testing.T) {
	steps := map[string]func(*laboratory){
		"worklist": func(lab *laboratory) { lab.documents(bracketed("G-1", "methanol", "GC-1", "C-M")) },
		"export":   func(lab *laboratory) { lab.export("GC-1", "peaks.csv", goodMethanol...) },
		"method":   func(lab *laboratory) { lab.documents(methodText("methanol", "1", methanolAnalyte, standing)) },
		"facts":    func(lab *laboratory) { lab.documents(standardsV1, registerV1) },
	}
	var dispositions []string
	for _, order := range [][]string{
		{"method", "facts", "worklist", "export"}, {"export", "worklist", "method", "facts"}, {"worklist", "export", "facts", "method"},
		{"export", "facts", "method", "worklist"}, {"facts", "export", "method", "worklist"}, {"worklist", "method", "export", "facts"},
	} {
		lab := newLaboratory(t)
		for _, step := range order {
			steps[step](lab)
			lab.settle()
		}
		files, err := lab.WaitingFiles(t.Context())
		lab.must(err)
		if len(files) > 0 {
			t.Errorf("%q: still waiting: %+v", order, files)
		}
		lab.want("S-1", methanol, lab.publications("S-2")[methanol])
		if got := lab.publications("S-1")[methanol]; !strings.HasSuffix(got, " released") {
			t.Errorf("%q: %s", order, got)
		}
		lab.check()
		dispositions = append(dispositions, one[string](lab, "select string_agg(v.value || v.reported || v.disposition, ' ' order by r.public_id) from core.result r join core.result_revision v on v.id = r.head"))
	}
	if len(slices.Compact(dispositions)) != 1 {
		t.Errorf("the order of arrival matters: %q", dispositions)
	}
}

func TestExportWaitsForAWorklistThatNamesIt(t *testing.T) {
	lab := newLaboratory(t)
	c := lab.export("GC-1", "peaks.csv", goodMethanol...)
	files, err := lab.WaitingFiles(t.Context())
	lab.must(err)
	if len(files) != 1 || !strings.Contains(files[0].Text, "a worklist for GC-1 that names file peaks.csv") {
		t.Errorf("waiting: %+v", files)
	}
	lab.documents(worklistText("G-2", "1", "methanol", "GC-2", "", "1,R1,,,1,S-1,sample,")) // of another instrument
	if state := one[string](lab, "select state from core.arrival where id = $1", c.ID); state != "waiting" {
		t.Errorf("the file is %s after a worklist of another instrument", state)
	}
	lab.documents(bracketed("G-1", "methanol", "GC-1", "C-M"))
	if state := one[string](lab, "select state from core.arrival where id = $1", c.ID); state != "recorded" {
		t.Errorf("the file is %s after its worklist", state)
	}
}

func TestBatchBindsTheMethodInForceWhenAcquired(t *testing.T) {
	version := func(v, from string) string {
		return strings.Replace(methodText("methanol", v, methanolAnalyte, standing), "2026-01-15", from, 1)
	}
	lab := newLaboratory(t)
	lab.documents(version("3", "2026-04-01"), bracketed("G-1", "methanol", "GC-1", "C-M"))
	lab.export("GC-1", "peaks.csv", goodMethanol...) // on 2026-03-02
	if waits := one[string](lab, "select waiting_for from core.batch"); waits != "a version of method methanol effective on 2026-03-02" {
		t.Errorf("the batch waits for %q", waits)
	}
	if due, err := lab.Due(t.Context(), 10); err != nil || len(due) > 0 {
		t.Errorf("due without a method: %v, %v", due, err)
	}
	lab.documents(strings.Replace(methodText("other", "1", methanolAnalyte, standing), "2026-01-15", "2026-01-01", 1))
	lab.documents(version("2", "2026-02-01"))
	if bound := one[string](lab, "select d.version || b.waiting_for from core.batch b join core.document d on d.id = b.method"); bound != "2" {
		t.Errorf("bound to version %s, want 2", bound)
	}
	lab.documents(version("4", "2026-03-01"))
	lab.settle()
	if bound := one[string](lab, "select d.version from core.batch b join core.document d on d.id = b.method"); bound != "2" {
		t.Errorf("a version recorded later moved the batch to %s", bound)
	}
}

func TestNewFactsWithdrawNothing(t *testing.T) {
	lab := released(t)
	seq := lab.seq()
	register := strings.Replace(registerV1, "version,1", "version,2,author,Runa Falk (invented),reason,one more bottle", 1)
	standards := strings.Replace(standardsV1, "version,1", "version,2,author,Runa Falk (invented),reason,one more standard", 1)
	lab.documents(register+"S-3,L9,cider spirit,Nether Orchard (invented)\n", standards+"C-X,L2,Alder (invented),2027-01-01,methanol,200,mg/L\n")
	lab.settle()
	lab.wantEvents(seq)
	// The label's words are no evidence: a corrected producer or lot changes no result.
	lab.documents(strings.ReplaceAll(strings.Replace(registerV1, "version,1", "version,3,author,Runa Falk (invented),reason,name of the producer", 1), "Nether", "Upper") + "S-3,L9,cider spirit,\n")
	lab.settle()
	lab.wantEvents(seq)
	// A sample registered for the first time withdraws nothing either, though a batch names it.
	lab.documents(worklistText("G-2", "1", "methanol", "GC-1", "", "1,R2,,,11,,check standard,C-M", "2,R2,P2,,12,S-4,sample,", "3,R2,P2,,13,S-1,sample,", "4,R2,,,14,,check standard,C-M"))
	lab.export("GC-1", "more.csv", reading{vial: "11", value: 100}, reading{vial: "12", value: 7}, reading{vial: "13", value: 300}, reading{vial: "14", value: 100})
	lab.settle()
	lab.want("S-4", methanol, "1 held")
	seq = lab.seq()
	lab.documents(strings.ReplaceAll(strings.Replace(registerV1, "version,1", "version,4,author,Runa Falk (invented),reason,one more bottle", 1), "Nether", "Upper") +
		"S-3,L9,cider spirit,\nS-4,L9,cider spirit,\n")
	lab.settle()
	lab.wantEvents(seq, "released S-4 methanol as is 2")
	lab.check()
}

func TestCorrectedFactsWithdraw(t *testing.T) {
	t.Run("category of a sample", func(t *testing.T) {
		lab := released(t)
		seq := lab.seq()
		lab.documents(strings.Replace(strings.Replace(registerV1, "version,1", "version,2,author,Runa Falk (invented),reason,it is perry", 1), "L7,cider", "L7,perry", 1))
		if got := lab.events(seq); len(got) != 6 || !strings.HasPrefix(got[0], "withdrawn ") {
			t.Errorf("in the recording transaction: %q", got)
		}
		lab.settle()
		lab.want("S-1", methanol, "1 superseded, 2 released")
		lab.check()
	})
	t.Run("value of a check standard", func(t *testing.T) {
		lab := released(t)
		seq := lab.seq()
		lab.documents(strings.Replace(strings.Replace(standardsV1, "version,1", "version,2,author,Runa Falk (invented),reason,certificate read wrongly", 1), "methanol,100", "methanol,200", 1))
		lab.wantEvents(seq, "withdrawn S-1 methanol as is 1", "withdrawn S-2 methanol as is 1",
			"withdrawn S-1 methanol per hL of pure alcohol 1", "withdrawn S-2 methanol per hL of pure alcohol 1")
		lab.settle()
		lab.want("S-1", methanol, "1 superseded, 2 held")
		lab.want("S-1", strengthAsI, "1 released")
		lab.check()
	})
	t.Run("sample taken from the register", func(t *testing.T) {
		lab := released(t)
		text := strings.Replace(registerV1, "version,1", "version,2,author,Runa Falk (invented),reason,not ours", 1)
		lab.documents(text[:strings.Index(text, "S-2,")])
		lab.settle()
		lab.want("S-1", methanol, "1 superseded, 2 released")
		lab.want("S-2", methanol, "1 superseded, 2 held")
		lab.check()
	})
}

// TestAnOlderVersionTakesNothingOver: whichever order two versions arrive in, the newer holds.
func TestAnOlderVersionTakesNothingOver(t *testing.T) {
	lab := newLaboratory(t)
	newer := strings.Replace(strings.Replace(registerV1, "version,1", "version,2,author,A. Clerk (invented),reason,typing error", 1), "cider spirit", "perry spirit", 1)
	lab.documents(newer, registerV1)
	if n := one[int](lab, "select count(*) from core.document where kind = 'register'"); n != 2 {
		t.Errorf("%d registers are kept, want both", n)
	}
	if version := one[string](lab, "select string_agg(distinct d.version, ',') from core.sample s join core.document d on d.id = s.document where s.current"); version != "2" {
		t.Errorf("the facts in force are of version %s, want 2", version)
	}
	lab.check()
}
