-- $1 instrument, $2 key[]
select a.id, a.key, r.id, r.digest, r.number
from core.acquisition a join core.acquisition_revision r on r.id = a.head
where a.instrument = $1 and a.key = any($2::text[])
