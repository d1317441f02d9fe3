-- $1 arrival, $2 state, $3 waiting_kind, $4 waiting_for, $5 code, $6 where, $7 text, $8 problems, $9 duplicate_of
update core.arrival set state = $2, waiting_kind = $3, waiting_for = $4, refusal_code = $5, refusal_where = $6, refusal_text = $7,
    problems = $8, duplicate_of = $9, leased_by = '', lease_until = null
where id = $1
