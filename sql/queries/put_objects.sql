-- $1 sha256[], $2 size[], $3 archive
insert into core.object (sha256, size, archive)
select distinct on (o.sha256) o.sha256, o.size, $3 from unnest($1::bytea[], $2::bigint[]) as o(sha256, size)
order by o.sha256
on conflict (sha256) do nothing
