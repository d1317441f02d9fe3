-- $1 sample[]
select distinct b.id from core.batch b join core.line l on l.document = b.worklist where l.sample = any($1::text[]) order by b.id
