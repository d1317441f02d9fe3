-- $1 seq
select hash from ledger.entry where seq = $1
