-- +goose Up
-- Readers see views; tables stay with the owner.
create schema lims;
create schema qa;
create schema classifier;
grant usage on schema lims to "{prefix}_service", "{prefix}_lims", "{prefix}_qa";
grant usage on schema qa to "{prefix}_service", "{prefix}_qa";
grant usage on schema classifier to "{prefix}_service", "{prefix}_classifier", "{prefix}_qa";

create view lims.released_result as
select e.seq, e.seq || '-' || left(encode(e.hash, 'hex'), 8) as cursor, e.at as released_at,
       r.public_id as result, v.number as revision, r.sample, s.lot, b.name as batch, d.name as method, d.version as method_version,
       b.instrument, v.position, r.analyte, v.cas, r.basis, v.value, v.reported, v.unit, v.censored, v.lod, v.loq,
       v.standard_uncertainty, v.qualifiers, v.notices, v.authoriser
from core.result_revision v
join core.result r on r.id = v.result
join core.batch b on b.id = r.batch
join core.document d on d.id = b.method
join ledger.event x on x.result = r.public_id and x.revision = v.number and x.kind in ('released', 'corrected')
join ledger.entry e on e.seq = x.seq
left join core.sample s on s.sample = r.sample and s.current
where v.publication = 'released';
comment on view lims.released_result is 'Every value that is released now, with the cursor of its release';

create view lims.feed as
select e.seq, v.ordinal, e.seq || '-' || left(encode(e.hash, 'hex'), 8) as cursor, e.at, v.kind as event, v.result, v.revision, v.previous_revision, v.reason,
       r.sample, b.name as batch, d.name as method, d.version as method_version, r.analyte, n.cas, r.basis,
       case when v.kind in ('released', 'corrected') then n.value end as value,
       case when v.kind in ('released', 'corrected') then n.reported end as reported,
       n.unit,
       case when v.kind in ('released', 'corrected') then n.censored end as censored,
       case when v.kind = 'corrected' then o.value end as previous_value,
       case when v.kind = 'corrected' then o.reported end as previous_reported,
       n.lod, n.loq, n.standard_uncertainty, n.qualifiers, n.notices, n.authoriser
from ledger.event v
join ledger.entry e on e.seq = v.seq
join core.result r on r.public_id = v.result
join core.result_revision n on n.result = r.id and n.number = v.revision
left join core.result_revision o on o.result = r.id and o.number = v.previous_revision
join core.batch b on b.id = r.batch
join core.document d on d.id = b.method;
comment on view lims.feed is 'Releases, corrections and withdrawals in ledger order; follow it with the cursor: where seq > the seq last seen, order by seq, ordinal';

create view qa.failure as
select 'check' as what, e.at, b.instrument, d.name as method, d.version as method_version, b.name as batch, v.acquisition, v.analyte, v.rule,
       v.subject, v.verdict as outcome, v.observed, v.limit_low, v.limit_high, v.unit, v.reason,
       (select string_agg(format('%s at %s', case when c.analyte = '' then 'all analytes' else c.analyte end,
               case when c.from_position = c.to_position then c.from_position::text else c.from_position || ' to ' || c.to_position end), '; ' order by c.ordinal)
        from core.cover c where c.verdict = v.id and c.effect = 'holds') as covers,
       v.source
from core.verdict v
join core.batch b on b.id = v.batch
left join core.document d on d.id = b.method
join core.evaluation n on n.id = v.evaluation
left join lateral (select at from ledger.entry l where l.kind = 'evaluated' and l.subject = b.name || '#' || n.number order by seq limit 1) e on true
where v.current and v.verdict in ('fail', 'missing', 'not evaluable')
union all
select 'file', a.taken_at, a.instrument, null, null, null, a.path_text, null, a.refusal_code,
       a.path_text, 'refused', null, null, null, null, a.refusal_text || case when a.refusal_where = '' then '' else ' (' || a.refusal_where || ')' end, null, null
from core.arrival a where a.state = 'refused';
comment on view qa.failure is 'Failure log: failed and missing checks, and refused files';

create view qa.held_result as
select b.name as batch, b.instrument, r.sample, r.analyte, r.basis, v.position, v.reported, v.unit, v.publication,
       c.check_id, c.rule, c.verdict, c.reason, c.waiting_for
from core.result r
join core.result_revision v on v.id = r.head and v.publication in ('held', 'cleared')
join core.batch b on b.id = r.batch
left join core.verdict c on c.batch = r.batch and c.current and (
    exists (select from core.result_hold h where h.revision = v.id and h.check_id = c.check_id)
    or c.verdict = 'pending' and exists (select from core.cover o where o.verdict = c.id and o.effect = 'holds' and o.analyte in ('', r.analyte) and o.basis in ('', r.basis) and v.position between o.from_position and o.to_position));
comment on view qa.held_result is 'Results under bond, with the checks that hold them and what they wait for';

create view qa.batch as
select b.name as batch, b.instrument, b.method_name as method, d.version as method_version, b.state, b.closed_cause, b.waiting_for,
       (select count(*) from core.line l where l.document = b.worklist) as lines,
       (select count(distinct m.position) from core.member m where m.document = b.worklist) as recorded_lines,
       (select count(*) from core.result r join core.result_revision v on v.id = r.head where r.batch = b.id and v.publication = 'released') as released,
       (select count(*) from core.result r join core.result_revision v on v.id = r.head where r.batch = b.id and v.publication in ('held', 'cleared')) as under_bond,
       (select count(*) from core.verdict v where v.batch = b.id and v.current and v.verdict in ('fail', 'missing', 'not evaluable')) as failed_checks
from core.batch b left join core.document d on d.id = b.method;
comment on view qa.batch is 'Batches: how complete they are, what they wait for, and how many results are released or under bond';

create view qa.finding as
select b.name as batch, b.instrument, f.code, f.subject, f.text
from core.finding f join core.batch b on b.id = f.batch
where f.current;
comment on view qa.finding is 'Remarks on batches that no rule carries: acquisitions that no line names, lines without acquisition, order against positions';

create view qa.waiting_file as
select a.taken_at, a.instrument, a.root, a.path_text as file, a.state, a.waiting_for, o.path_text as duplicate_of
from core.arrival a left join core.arrival o on o.id = a.duplicate_of
where a.state in ('waiting', 'in custody', 'parsing');
comment on view qa.waiting_file is 'Files in custody that are not recorded yet, and what they wait for';

create view classifier.feature as
select r.sample, s.lot, s.category, s.producer, r.analyte, v.unit, r.basis, d.name as method, v.value, v.censored, v.lod, v.loq, s.body->'claim' as claim
from core.result r
join core.result_revision v on v.id = r.head and v.publication = 'released'
join core.batch b on b.id = r.batch
join core.document d on d.id = b.method
join core.sample s on s.sample = r.sample and s.current;
comment on view classifier.feature is 'Released values in long form, one row a sample and feature, with the claims beside them';

grant select on lims.released_result, lims.feed to "{prefix}_service", "{prefix}_lims", "{prefix}_qa";
grant select on qa.failure, qa.held_result, qa.waiting_file, qa.batch, qa.finding to "{prefix}_service", "{prefix}_qa";
grant select on classifier.feature to "{prefix}_service", "{prefix}_classifier", "{prefix}_qa";
