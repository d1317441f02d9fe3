-- $1 standard[]
select distinct b.id from core.batch b join core.line l on l.document = b.worklist where l.standards && $1::text[] order by b.id
