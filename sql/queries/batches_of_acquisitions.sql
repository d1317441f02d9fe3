-- $1 acquisition[]: batches that have one of them as a member, and which of them has a role other than sample there
select l.batch, m.acquisition, l.role
from core.member m
join core.line l on l.document = m.document and l.position = m.position
join core.batch b on b.id = l.batch and b.worklist = l.document
where m.acquisition = any($1::bigint[])
order by l.batch, m.acquisition
