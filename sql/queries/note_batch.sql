-- $1 batch, $2 what keeps it from being evaluated
update core.batch set waiting_for = $2, evaluated_version = version where id = $1
