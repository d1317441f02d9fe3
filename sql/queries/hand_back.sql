-- $1 arrival, $2 fence. The attempt is given back: nothing was wrong with the file.
update core.arrival set state = 'in custody', attempts = attempts - 1, leased_by = '', lease_until = null
where id = $1 and fence = $2 and state = 'parsing'
