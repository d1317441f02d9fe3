-- $1 id[]
update core.finding set current = false where id = any($1::bigint[])
