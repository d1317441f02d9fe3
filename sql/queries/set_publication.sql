-- $1 revision[], $2 state
update core.result_revision set publication = $2 where id = any($1::bigint[])
