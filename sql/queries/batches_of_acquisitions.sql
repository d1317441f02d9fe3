-- $1 acquisition[]: batches that have one of them as a member, its role there, and whether the line names it as it is now
select l.batch, b.name, m.acquisition, l.role, (l.file = '' or l.file = r.file) and (l.vial = '' or l.vial = r.vial)
from core.member m
join core.line l on l.document = m.document and l.position = m.position
join core.batch b on b.id = l.batch and b.worklist = l.document
join core.acquisition a on a.id = m.acquisition
join core.acquisition_revision r on r.id = a.head
where m.acquisition = any($1::bigint[])
order by l.batch, m.acquisition
