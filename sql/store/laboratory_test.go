package store_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rs/zerolog"

	"underbond/ingest/custody"
	"underbond/ingest/record"
	"underbond/ingest/worker"
	"underbond/parsers"
	"underbond/qc"
	"underbond/sql/migrations"
	"underbond/sql/server/servertest"
	"underbond/sql/store"
)

// Everything in the laboratory is invented.
const (
	daemon  = "daemon-1"
	archive = "archive-1"
)

var prefixes atomic.Int64

// laboratory is a record with what surrounds it: a journal that counts, and an archive
// that is a map.
type laboratory struct {
	*testing.T
	*store.Store
	admin      *pgx.Conn // as superuser
	url        string
	prefix     string
	journal    int64
	reductions map[string]*qc.Reduction // by acquisition revision
}

func newLaboratory(t *testing.T) *laboratory {
	t.Helper()
	url, prefix := servertest.Database(t), fmt.Sprintf("s%d", prefixes.Add(1))
	if _, _, err := migrations.Up(t.Context(), url, prefix); err != nil {
		t.Fatal(err)
	}
	lab := &laboratory{T: t, url: url, prefix: prefix, reductions: map[string]*qc.Reduction{}}
	lab.Store = lab.open()
	lab.admin = lab.connect()
	return lab
}

// open makes one more store on the same database.
func (lab *laboratory) open() *store.Store {
	lab.Helper()
	s, err := store.Open(lab.Context(), store.Options{URL: lab.url, Prefix: lab.prefix, Actor: "test", Timeout: 20 * time.Second, Log: zerolog.Nop()})
	if err != nil {
		lab.Fatal(err)
	}
	lab.Cleanup(s.Close)
	return s
}

func (lab *laboratory) connect() *pgx.Conn {
	lab.Helper()
	conn, err := pgx.Connect(lab.Context(), lab.url)
	if err != nil {
		lab.Fatal(err)
	}
	lab.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

// one asks for a single value.
func one[T any](lab *laboratory, sql string, args ...any) T {
	lab.Helper()
	var v T
	if err := lab.admin.QueryRow(lab.Context(), sql, args...).Scan(&v); err != nil {
		lab.Fatalf("%s: %v", sql, err)
	}
	return v
}

func (lab *laboratory) exec(sql string, args ...any) {
	lab.Helper()
	if _, err := lab.admin.Exec(lab.Context(), sql, args...); err != nil {
		lab.Fatalf("%s: %v", sql, err)
	}
}

func (lab *laboratory) must(err error) {
	lab.Helper()
	if err != nil {
		lab.Fatal(err)
	}
}

// arrival is a file in custody that is not registered yet.
func (lab *laboratory) arrival(root, holds, instrument, file string, data []byte) record.Arrival {
	lab.journal++
	return record.Arrival{Daemon: daemon, Journal: lab.journal, Root: root, Instrument: instrument, Holds: holds, Path: []byte(file), PathText: file,
		SourceMtime: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Object: custody.HashOf(data), Size: int64(len(data)), Archive: archive,
		EndProof: "held", TakenAt: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
}

// take registers a file and claims it: the next claim must be this one.
func (lab *laboratory) take(a record.Arrival) *record.Claim {
	lab.Helper()
	lab.must(lab.Register(lab.Context(), []record.Arrival{a}))
	c := lab.claim()
	if c.Journal != a.Journal {
		lab.Fatalf("claimed journal entry %d (%s), want %d (%s)", c.Journal, c.PathText, a.Journal, a.PathText)
	}
	return c
}

func (lab *laboratory) claim() *record.Claim {
	lab.Helper()
	c, err := lab.Claim(lab.Context(), daemon, archive, time.Minute, false)
	lab.must(err)
	if c == nil {
		c, err = lab.Claim(lab.Context(), daemon, archive, time.Minute, true)
		lab.must(err)
	}
	if c == nil {
		lab.Fatal("there is nothing to claim")
	}
	return c
}

// document records a document, or gives the conflict that refuses it.
func (lab *laboratory) document(file, text string) error {
	lab.Helper()
	c := lab.take(lab.arrival("documents", record.HoldsDocuments, "", file, []byte(text)))
	d, refusal := worker.ReadDocument(file, c.Object, []byte(text))
	if refusal != nil {
		lab.Fatalf("%s: %s", file, refusal)
	}
	err := lab.RecordDocument(lab.Context(), c, d)
	var conflict *record.DocumentConflict
	if errors.As(err, &conflict) {
		lab.must(lab.Refuse(lab.Context(), c, parsers.Refuse(conflict.Code, parsers.Place{}, "%s", conflict.Message).Problem, nil))
		return conflict
	}
	lab.must(err)
	return nil
}

func (lab *laboratory) documents(texts ...string) {
	lab.Helper()
	for _, text := range texts {
		file := "document.csv"
		if strings.HasPrefix(text, "kind:") {
			file = "document.yaml"
		}
		lab.must(lab.document(file, text))
	}
}

// reading is one acquisition as an instrument gives it.
type reading struct {
	vial   string
	value  float64
	minute int    // of the run; 0: as the vial says
	key    string // "" : run and vial
}

// export records a file with readings of an instrument, all in one run.
func (lab *laboratory) export(instrument, file string, readings ...reading) *record.Claim {
	lab.Helper()
	data := fmt.Appendf(nil, "%s %v", instrument, readings)
	c := lab.take(lab.arrival(instrument, record.HoldsExports, instrument, file, data))
	lab.must(lab.RecordAcquisitions(lab.Context(), c, lab.acquisitions(c, readings), nil))
	return c
}

func (lab *laboratory) acquisitions(c *record.Claim, readings []reading) []record.Acquisition {
	var list []record.Acquisition
	for i, r := range readings {
		minute := r.minute
		if minute == 0 {
			if _, err := fmt.Sscan(r.vial, &minute); err != nil {
				lab.Fatal(err)
			}
		}
		at := time.Date(2026, 3, 2, 8, minute, 0, 0, time.UTC)
		key := r.key
		if key == "" {
			key = "run/" + r.vial
		}
		digest := custody.HashOf(fmt.Appendf(nil, "%s %s %v %d", key, r.vial, r.value, minute))
		value := r.value
		lab.reductions[digest.String()] = &qc.Reduction{Engine: qc.Engine, Plan: "p", Rows: []qc.TableRow{
			{Line: 2, Values: []qc.CellValue{{Meaning: "content", Text: fmt.Sprint(value), Value: &value}}},
		}}
		list = append(list, record.Acquisition{Instrument: c.Instrument, Key: key, Record: i + 1, Digest: digest, File: c.PathText,
			Header:  parsers.Header{Record: i + 1, NativeKey: key, Format: "delimited", Vial: r.vial},
			Started: parsers.Started{Local: at.Format("2006-01-02T15:04:05"), Zone: "UTC", At: &at, Status: parsers.StartZoned}})
	}
	return list
}

// snapshot reads a batch with its reductions.
func (lab *laboratory) snapshot(batch int64) *record.Snapshot {
	lab.Helper()
	snap, err := lab.Snapshot(lab.Context(), batch)
	lab.must(err)
	lab.reduce(snap)
	return snap
}

func (lab *laboratory) reduce(snap *record.Snapshot) {
	for i, m := range snap.Input.Members {
		if m.State == qc.MemberRecorded {
			snap.Input.Members[i].Reduction = lab.reductions[m.Acquisition.Revision]
		}
	}
}

func (lab *laboratory) evaluated(snap *record.Snapshot) record.Evaluated {
	lab.Helper()
	e, err := lab.evaluate(snap)
	lab.must(err)
	return e
}

func (lab *laboratory) evaluate(snap *record.Snapshot) (record.Evaluated, error) {
	lab.reduce(snap)
	e := record.Evaluated{Archive: archive, Architecture: "test"}
	input, body, err := qc.Digest(snap.Input.Ordered())
	if err != nil {
		return e, err
	}
	if e.Evaluation, err = qc.Evaluate(&snap.Input); err != nil {
		return e, err
	}
	output, _, err := qc.Digest(e.Evaluation)
	if err != nil {
		return e, err
	}
	e.InputSize = int64(len(body))
	var errInput, errOutput error
	e.Input, errInput = record.ParseHash(input)
	e.Output, errOutput = record.ParseHash(output)
	return e, errors.Join(errInput, errOutput)
}

// settle evaluates whatever is due, until nothing is.
func (lab *laboratory) settle() {
	lab.Helper()
	for range 20 {
		due, err := lab.Due(lab.Context(), 10)
		lab.must(err)
		if len(due) == 0 {
			return
		}
		for _, batch := range due {
			snap := lab.snapshot(batch)
			lab.must(lab.WriteEvaluation(lab.Context(), snap, lab.evaluated(snap)))
		}
	}
	lab.Fatal("batches stay due")
}

func (lab *laboratory) batch(name string) int64 {
	lab.Helper()
	return one[int64](lab, "select id from core.batch where name = $1", name)
}

// publications lists the revisions of a sample's results as "analyte basis: 1 superseded, 2 released".
func (lab *laboratory) publications(sample string) map[string]string {
	lab.Helper()
	rows, err := lab.admin.Query(lab.Context(), `select r.analyte || ' ' || r.basis || case when count(*) over (partition by r.sample, r.analyte, r.basis, v.number) > 1 then ' ' || r.public_id else '' end,
		v.number || ' ' || v.publication from core.result r join core.result_revision v on v.result = r.id where r.sample = $1 order by r.public_id, v.number`, sample)
	lab.must(err)
	found := map[string]string{}
	var name, state string
	_, err = pgx.ForEachRow(rows, []any{&name, &state}, func() error {
		if found[name] != "" {
			found[name] += ", "
		}
		found[name] += state
		return nil
	})
	lab.must(err)
	return found
}

func (lab *laboratory) want(sample, result, states string) {
	lab.Helper()
	if got := lab.publications(sample)[result]; got != states {
		lab.Errorf("%s %s: %q, want %q", sample, result, got, states)
	}
}

const (
	methanol    = "methanol as is"
	methanolPA  = "methanol per hL of pure alcohol"
	strengthAsI = "strength as is"
)

// events lists the feed from a seq on as "released S-1 methanol as is 1".
func (lab *laboratory) events(after int64) []string {
	lab.Helper()
	feed, err := lab.Feed(lab.Context())
	lab.must(err)
	var list []string
	for _, e := range feed {
		if e.Seq > after {
			list = append(list, fmt.Sprintf("%s %s %s %s %d", e.Kind, e.Sample, e.Analyte, e.Basis, e.Revision))
		}
	}
	return list
}

func (lab *laboratory) wantEvents(after int64, want ...string) {
	lab.Helper()
	got := lab.events(after)
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		lab.Errorf("events: %q\nwant: %q", got, want)
	}
}

func (lab *laboratory) seq() int64 {
	lab.Helper()
	head, err := lab.Head(lab.Context())
	lab.must(err)
	return head.Seq
}

// check is what must hold at the end of every story.
func (lab *laboratory) check() {
	lab.Helper()
	if broken := one[*int64](lab, "select ledger.first_broken()"); broken != nil {
		lab.Errorf("the ledger is broken at %d", *broken)
	}
	if n := one[int](lab, `select count(*) from (select result from core.result_revision where publication = 'released' group by result having count(*) > 1) x`); n > 0 {
		lab.Errorf("%d results are released more than once", n)
	}
	if n := one[int](lab, `select count(*) from core.result_revision v join core.result_use u on u.revision = v.id join core.result_revision w on w.id = u.used
		where v.publication = 'released' and w.publication <> 'released'`); n > 0 {
		lab.Errorf("%d released results rest on results that are not released", n)
	}
	if n := one[int](lab, `select count(*) from core.result_revision v where v.publication <> (select p.state from core.publication p where p.revision = v.id order by p.step desc limit 1)`); n > 0 {
		lab.Errorf("%d revisions differ from the end of their history", n)
	}
	if n := one[int](lab, `select count(*) from core.publication a join core.publication b on b.revision = a.revision and b.step = a.step + 1 and b.state = a.state`); n > 0 {
		lab.Errorf("%d steps of publication lead nowhere", n)
	}
	// What the events add up to is what is released.
	if n := one[int](lab, `with last as (
			select distinct on (result) result, revision, kind from ledger.event order by result, seq desc, ordinal desc)
		select count(*) from (
			select result, revision from last where kind in ('released', 'corrected')
			except select r.public_id, v.number from core.result r join core.result_revision v on v.result = r.id and v.publication = 'released') x`); n > 0 {
		lab.Errorf("%d results are released by the feed and not in the record", n)
	}
	if n := one[int](lab, `select count(*) from (
			select r.public_id, v.number from core.result r join core.result_revision v on v.result = r.id and v.publication = 'released'
			except select result, revision from ledger.event where kind in ('released', 'corrected')) x`); n > 0 {
		lab.Errorf("%d results are released without an event", n)
	}
}

// Documents ---------------------------------------------------------------------------

const (
	standing = "{standing: {authorised_by: Tomas Vell (invented), signed_on: 2026-01-16T00:00:00Z, statement: what passed may go}}"
	persons  = "{persons: [Tomas Vell (invented)]}"
)

func methodText(name, version, analyte, release string) string {
	head := fmt.Sprintf(`kind: method
name: %s
version: %q
title: invented
approved_by: Ida Morrow (invented)
effective_from: 2026-01-15T00:00:00Z
invented: true
input: {format: delimited, profile: log}
release: %s
`, name, version, release)
	return head + analyte
}

const (
	strengthAnalyte = `analytes:
  - {name: strength, unit: "% vol", quantity: strength, strength_kind: real, source: {table: {value: content}}, calibration: {model: none}, report: {unit: "% vol", decimals: 1}}
rules:
  - {rule: check standard recovery, analytes: [strength], source: invented, low: 99, high: 101}
`
	methanolAnalyte = `analytes:
  - name: methanol
    cas: 67-56-1
    unit: mg/L
    source: {table: {value: content}}
    calibration: {model: none}
    report: {unit: mg/L, decimals: 1, per_alcohol: {unit: g/hL p.a., decimals: 1}}
rules:
  - {rule: check standard recovery, analytes: [methanol], source: invented, low: 90, high: 110}
`
	standardsV1 = `document,standards,name,standards-2026,version,1
standard_id,lot,maker,expires,analyte,value,unit
C-S,L1,Alder (invented),2027-01-01,strength,40,% vol
C-M,L1,Alder (invented),2027-01-01,methanol,100,mg/L
`
	registerV1 = `document,register,name,county,version,1
sample_id,lot,category,producer
S-1,L7,cider spirit,Nether Orchard (invented)
S-2,L8,perry spirit,Nether Orchard (invented)
`
	columns = "position,run,prep_batch,file,vial,sample,role,standards\n"
)

func worklistText(name, version, method, instrument, reason string, lines ...string) string {
	head := fmt.Sprintf("document,worklist,name,%s,version,%s,method,%s,instrument,%s,author,Runa Falk (invented)", name, version, method, instrument)
	if reason != "" {
		head += ",reason," + reason
	}
	return head + "\n" + columns + strings.Join(lines, "\n") + "\n"
}

// bracketed is a batch of two samples between two check standards, named by vial.
func bracketed(name, method, instrument, check string) string {
	return worklistText(name, "1", method, instrument, "",
		"1,R1,,,1,,check standard,"+check, "2,R1,P1,,2,S-1,sample,", "3,R1,P1,,3,S-2,sample,", "4,R1,,,4,,check standard,"+check)
}

var (
	goodStrength = []reading{{vial: "1", value: 40}, {vial: "2", value: 40}, {vial: "3", value: 50}, {vial: "4", value: 40}}
	goodMethanol = []reading{{vial: "1", value: 100}, {vial: "2", value: 300}, {vial: "3", value: 500}, {vial: "4", value: 101}}
)

// with is a copy of readings in which one vial reads otherwise.
func with(list []reading, vial string, value float64) []reading {
	list = slices.Clone(list)
	for i := range list {
		if list[i].vial == vial {
			list[i].value = value
		}
	}
	return list
}

// ready has all documents for a strength batch D-1 on DM-1 and a methanol batch G-1 on GC-1.
func ready(t *testing.T) *laboratory {
	t.Helper()
	lab := newLaboratory(t)
	lab.documents(methodText("strength", "1", strengthAnalyte, standing), methodText("methanol", "1", methanolAnalyte, standing),
		standardsV1, registerV1, bracketed("D-1", "strength", "DM-1", "C-S"), bracketed("G-1", "methanol", "GC-1", "C-M"))
	return lab
}

// released is ready with everything measured and released.
func released(t *testing.T) *laboratory {
	t.Helper()
	lab := ready(t)
	lab.export("DM-1", "density.csv", goodStrength...)
	lab.export("GC-1", "peaks.csv", goodMethanol...)
	lab.settle()
	for _, sample := range []string{"S-1", "S-2"} {
		lab.want(sample, strengthAsI, "1 released")
		lab.want(sample, methanol, "1 released")
		if got := lab.publications(sample)[methanolPA]; !strings.HasSuffix(got, "released") {
			lab.Fatalf("%s %s: %q", sample, methanolPA, got)
		}
	}
	lab.check()
	return lab
}
