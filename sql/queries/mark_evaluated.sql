-- $1 batch, $2 version evaluated, $3 state, $4 closed cause
update core.batch set evaluated_version = $2, state = $3, closed_cause = $4, waiting_for = '' where id = $1
