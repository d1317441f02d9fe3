-- $1 acquisition[], $2 batch[], $3 used revision[]: what was released from them, and whatever was computed with that
with recursive affected as (
    select v.id from core.result_revision v join core.result r on r.id = v.result
    where v.publication = 'released' and (r.acquisition = any($1::bigint[]) or r.batch = any($2::bigint[]))
    union
    select u.revision from core.result_use u join core.result_revision v on v.id = u.revision and v.publication = 'released'
    where u.used = any($3::bigint[])
    union
    select u.revision from affected a join core.result_use u on u.used = a.id
    join core.result_revision v on v.id = u.revision and v.publication = 'released'
)
update core.result_revision v set publication = 'withdrawn'
from core.result r
where r.id = v.result and v.id in (select id from affected)
returning v.id, r.public_id, v.number, r.batch
