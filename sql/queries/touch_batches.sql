-- $1 batch[]
update core.batch set version = version + 1, changed_at = clock_timestamp()
where id in (select id from core.batch where id = any($1::bigint[]) order by id for update)
