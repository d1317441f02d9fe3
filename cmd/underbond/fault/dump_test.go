package fault

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
)

// The canonical dump is what must be equal after every disturbance: the record by
// natural keys, without surrogates, times, attempts and leases.
//
// It leaves out what DECISIONS lets depend on how arrivals are coalesced. Whether a run
// of one batch is evaluated before or after its strengths are there, and how often while
// files still come, decides how many evaluations there are, how many held revisions a
// result went through and which numbers its revisions have; it must never decide what
// stands in the end, nor what readers were told. So of verdicts, calibrations and results
// the current ones are compared by content; of a result's history what was ever
// published, in order, by value instead of by number; of evaluations the last one, whose
// input digest pins every document, acquisition and used result. The ledger's sequence is
// audited for its chain instead.
//
// A file without its end is refused with the same code whether the watcher knew the
// profile already (and waited in vain for the end) or the reader found it out; text and
// place differ and are left out for that code.
var sections = []struct{ name, query string }{
	{"file", `select jsonb_build_object('root', root, 'path', encode(path, 'escape'), 'sha256', encode(object, 'hex'), 'size', size, 'holds', holds,
		'instrument', instrument, 'state', state, 'waiting_kind', waiting_kind, 'waiting_for', waiting_for, 'code', refusal_code,
		'where', case when refusal_code = 'incomplete' then '' else refusal_where end, 'text', case when refusal_code = 'incomplete' then '' else refusal_text end,
		'problems', problems, 'duplicate_of', (select o.path_text from core.arrival o where o.id = a.duplicate_of), 'lease', leased_by)
		from core.arrival a`},
	{"document", `select jsonb_build_object('kind', d.kind, 'name', d.name, 'version', d.version, 'sha256', encode(d.object, 'hex'), 'path', a.path_text,
		'author', d.author, 'reason', d.reason, 'body', d.body) from core.document d join core.arrival a on a.id = d.arrival`},
	{"sample", `select jsonb_build_object('register', d.name, 'version', d.version, 'body', s.body, 'current', s.current)
		from core.sample s join core.document d on d.id = s.document`},
	{"standard", `select jsonb_build_object('list', d.name, 'version', d.version, 'body', s.body, 'current', s.current)
		from core.standard s join core.document d on d.id = s.document`},
	{"batch", `select jsonb_build_object('name', b.name, 'instrument', b.instrument, 'method', m.name, 'method_version', m.version, 'worklist', w.version,
		'state', b.state, 'cause', b.closed_cause, 'waiting_for', b.waiting_for)
		from core.batch b left join core.document m on m.id = b.method join core.document w on w.id = b.worklist`},
	{"line", `select jsonb_build_object('worklist', d.name, 'version', d.version, 'position', l.position, 'body', l.body,
		'members', (select jsonb_agg(q.key order by q.key) from core.member m join core.acquisition q on q.id = m.acquisition where m.document = l.document and m.position = l.position))
		from core.line l join core.document d on d.id = l.document`},
	{"acquisition", `select jsonb_build_object('instrument', q.instrument, 'key', q.key, 'number', r.number, 'head', q.head = r.id, 'digest', encode(r.digest, 'hex'),
		'sha256', encode(v.object, 'hex'), 'path', v.path_text, 'record', r.record, 'file', r.file, 'vial', r.vial, 'header', r.header, 'problems', r.problems,
		'started', r.started_local, 'zone', r.zone, 'at', r.started_at, 'status', r.start_status)
		from core.acquisition_revision r join core.acquisition q on q.id = r.acquisition join core.arrival v on v.id = r.arrival`},
	{"reduction", `select jsonb_build_object('key', q.key, 'digest', encode(r.digest, 'hex'), 'plan', encode(d.plan, 'hex'), 'engine', d.engine, 'object', encode(d.object, 'hex'))
		from core.reduction d join core.acquisition_revision r on r.id = d.revision join core.acquisition q on q.id = r.acquisition`},
	{"last evaluation", `select jsonb_build_object('batch', b.name, 'input', encode(e.input, 'hex'), 'output', encode(e.output, 'hex'), 'engine', e.engine)
		from core.batch b join lateral (select * from core.evaluation e where e.batch = b.id order by e.number desc limit 1) e on true`},
	{"calibration", `select jsonb_build_object('batch', b.name, 'content', to_jsonb(c) - '{id,evaluation,batch}'::text[])
		from core.calibration c join core.batch b on b.id = c.batch where c.current`},
	{"verdict", `select jsonb_build_object('batch', b.name, 'content', to_jsonb(v) - '{id,evaluation,batch}'::text[],
		'covers', (select jsonb_agg(to_jsonb(c) - 'verdict' order by c.ordinal) from core.cover c where c.verdict = v.id))
		from core.verdict v join core.batch b on b.id = v.batch where v.current`},
	{"result", `select jsonb_build_object('result', r.public_id, 'batch', b.name, 'acquisition', q.key, 'sample', r.sample, 'analyte', r.analyte, 'basis', r.basis,
		'content', to_jsonb(v) - '{id,result,number,evaluation,acquisition_revision}'::text[], 'evidence', encode(x.digest, 'hex'),
		'uses', (select jsonb_agg(jsonb_build_array(ur.public_id, encode(u.digest, 'hex'), u.publication) order by ur.public_id)
			from core.result_use w join core.result_revision u on u.id = w.used join core.result ur on ur.id = u.result where w.revision = v.id),
		'held_by', (select jsonb_agg(h.check_id order by h.check_id) from core.result_hold h where h.revision = v.id),
		'released', (select count(*) from core.result_revision o where o.result = r.id and o.publication = 'released'))
		from core.result r join core.batch b on b.id = r.batch join core.acquisition q on q.id = r.acquisition
		join core.result_revision v on v.id = r.head join core.acquisition_revision x on x.id = v.acquisition_revision`},
	{"told to readers", `select jsonb_build_object('result', f.result, 'events', jsonb_agg(jsonb_build_array(f.event, f.reported, f.previous_reported, f.unit, f.reason, f.authoriser,
			(select jsonb_agg(p.state order by p.step) from core.publication p where p.revision = n.id)) order by f.seq, f.ordinal))
		from lims.feed f join core.result r on r.public_id = f.result join core.result_revision n on n.result = r.id and n.number = f.revision group by f.result`},
}

// dump gives the canonical dump as sorted lines.
func (l *lab) dump() []string {
	l.t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, l.url)
	if err != nil {
		l.t.Fatal(err)
	}
	defer conn.Close(ctx)
	var lines []string
	for _, s := range sections {
		rows, err := conn.Query(ctx, "select jsonb::text from ("+s.query+") as section(jsonb)")
		if err != nil {
			l.t.Fatalf("dump %s: %v", s.name, err)
		}
		section, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			l.t.Fatalf("dump %s: %v", s.name, err)
		}
		for _, line := range section {
			lines = append(lines, s.name+" "+line)
		}
	}
	slices.Sort(lines)
	return lines
}

// difference says in which lines two dumps differ; empty when they are equal.
func difference(want, got []string) string {
	var out strings.Builder
	count := map[string]int{}
	for _, line := range want {
		count[line]++
	}
	for _, line := range got {
		count[line]--
	}
	lines := make([]string, 0, len(count))
	for line, n := range count {
		if n != 0 {
			lines = append(lines, line)
		}
	}
	slices.Sort(lines)
	for _, line := range lines[:min(len(lines), 12)] {
		fmt.Fprintf(&out, "%+d %.1200s\n", -count[line], line)
	}
	if len(lines) > 12 {
		fmt.Fprintf(&out, "and %d lines more\n", len(lines)-12)
	}
	return out.String()
}
