-- $1 sample[], $2 batch itself
select distinct b.id from core.batch b
join core.line l on l.document = b.worklist
join core.document m on m.id = b.method
where l.sample = any($1::text[]) and b.id <> $2 and m.body @? '$.analytes[*].report.per_alcohol'
order by b.id
