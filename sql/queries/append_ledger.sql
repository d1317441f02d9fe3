-- $1 actor, $2 kind, $3 subject, $4 reason, $5 digest, $6 events
select seq, hash from ledger.append($1, $2, $3, $4, $5, $6)
