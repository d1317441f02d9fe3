-- $1 batch
select check_id, digest, id from core.verdict where batch = $1 and current
