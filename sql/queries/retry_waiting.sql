-- $1 waiting_kind: what they waited for may have come
update core.arrival set state = 'in custody', waiting_kind = '', waiting_for = '', attempts = 0
where state = 'waiting' and waiting_kind = $1
