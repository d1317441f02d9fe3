-- $1 batch: acquisitions on the instrument within the batch's time span that no current line names
with span as (
    select b.instrument, min(r.started_at) as first, max(r.started_at) as last
    from core.batch b join core.member m on m.document = b.worklist
    join core.acquisition a on a.id = m.acquisition join core.acquisition_revision r on r.id = a.head
    where b.id = $1 group by b.instrument
)
select a.instrument, a.key, r.digest, v.path_text, r.started_local, r.zone, r.started_at, r.start_status
from span s
join core.acquisition a on a.instrument = s.instrument
join core.acquisition_revision r on r.id = a.head and r.started_at between s.first and s.last
join core.arrival v on v.id = r.arrival
where not exists (select from core.member m join core.batch o on o.worklist = m.document
    join core.line l on l.document = m.document and l.position = m.position
        and (l.file = '' or l.file = r.file) and (l.vial = '' or l.vial = r.vial)
    where m.acquisition = a.id)
order by a.key
