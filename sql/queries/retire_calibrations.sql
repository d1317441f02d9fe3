-- $1 id[]
update core.calibration set current = false where id = any($1::bigint[])
