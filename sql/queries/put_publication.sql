-- $1 revision[], $2 state[], $3 reason[]
insert into core.publication (revision, step, state, reason)
select p.revision, 1 + coalesce((select max(step) from core.publication o where o.revision = p.revision), 0), p.state, p.reason
from unnest($1::bigint[], $2::text[], $3::text[]) as p(revision, state, reason)
