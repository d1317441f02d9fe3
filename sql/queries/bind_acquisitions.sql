-- $1 acquisition[]: lines of current worklists that name them; gives the batches concerned
insert into core.member (document, position, acquisition)
select l.document, l.position, a.id
from core.acquisition a
join core.acquisition_revision r on r.id = a.head
join core.line l on l.instrument = a.instrument and (l.file = '' or l.file = r.file) and (l.vial = '' or l.vial = r.vial)
join core.batch b on b.worklist = l.document
where a.id = any($1::bigint[])
on conflict do nothing
