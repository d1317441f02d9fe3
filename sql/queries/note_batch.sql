-- $1 batch, $2 the version that was looked at, $3 what keeps it from being evaluated
update core.batch set waiting_for = $3, evaluated_version = $2 where id = $1 and version = $2
