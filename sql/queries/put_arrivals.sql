-- $1 daemon, $2 journal[], $3 root[], $4 instrument[], $5 holds[], $6 path[], $7 path_text[], $8 source_mtime[],
-- $9 object[], $10 size[], $11 end_proof[], $12 incomplete[], $13 taken_at[]
insert into core.arrival (daemon, journal, root, instrument, holds, path, path_text, source_mtime, object, size, end_proof, incomplete, taken_at, state)
select $1, a.*, 'in custody'
from unnest($2::bigint[], $3::text[], $4::text[], $5::text[], $6::bytea[], $7::text[], $8::timestamptz[],
            $9::bytea[], $10::bigint[], $11::text[], $12::text[], $13::timestamptz[]) as a
on conflict (daemon, journal) do nothing
returning journal
