-- $1 id[]
update core.verdict set current = false where id = any($1::bigint[])
