-- $1 batch
select code || '|' || subject || '|' || text, '\x00'::bytea, id from core.finding where batch = $1 and current
