-- $1 worklist document: acquisitions that are there already
insert into core.member (document, position, acquisition)
select l.document, l.position, a.id
from core.line l
join core.acquisition a on a.instrument = l.instrument
join core.acquisition_revision r on r.id = a.head
where l.document = $1 and (l.file = '' or l.file = r.file) and (l.vial = '' or l.vial = r.vial)
on conflict do nothing
returning acquisition
