-- $1 instrument, $2 key[]: with the head revision, if there is one
select a.id, a.key, coalesce(r.id, 0), r.digest
from core.acquisition a left join core.acquisition_revision r on r.id = a.head
where a.instrument = $1 and a.key = any($2::text[])
