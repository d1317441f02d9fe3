-- $1 batch[] (null: all). The method version effective when the batch was acquired; the start of the earliest
-- member decides, or when it was taken into custody where the content has no start.
with acquired as (
    select b.id, min(coalesce(r.started_at, v.taken_at)) as at
    from core.batch b
    join core.member m on m.document = b.worklist
    join core.acquisition a on a.id = m.acquisition
    join core.acquisition_revision r on r.id = a.head
    join core.arrival v on v.id = r.arrival
    where b.method is null and ($1::bigint[] is null or b.id = any($1::bigint[]))
    group by b.id
), found as (
    select q.id, q.at, (select d.id from core.document d join core.batch b on b.id = q.id
        where d.kind = 'method' and d.name = b.method_name and d.effective_from <= q.at
        order by d.effective_from desc, d.id desc limit 1) as method
    from acquired q
)
update core.batch b set method = f.method,
    waiting_for = case when f.method is null then format('a version of method %s effective on %s', b.method_name, to_char(f.at at time zone 'UTC', 'YYYY-MM-DD')) else '' end,
    version = b.version + case when f.method is null then 0 else 1 end
from found f where f.id = b.id
