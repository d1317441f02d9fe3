-- $1 batch: released strengths of its samples from other batches. The one used before stands while it is released;
-- else the one released first.
select distinct on (r.sample) v.quantity, v.kind, r.sample, r.public_id, v.digest, v.value, v.unit, v.standard_uncertainty
from core.result r
join core.result_revision v on v.result = r.id and v.publication = 'released'
where v.quantity = 'strength' and v.value is not null and r.batch <> $1
  and r.sample in (select l.sample from core.line l join core.batch b on b.worklist = l.document where b.id = $1 and l.sample <> '')
order by r.sample,
    not exists (select from core.result_use u join core.result_revision x on x.id = u.revision join core.result y on y.id = x.result and y.head = x.id
                join core.result_revision z on z.id = u.used where y.batch = $1 and z.result = r.id),
    v.id
