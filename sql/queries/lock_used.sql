-- $1 result public id[]: the released revisions, locked against change until this transaction ends
select v.id, r.public_id, v.digest from core.result_revision v join core.result r on r.id = v.result
where r.public_id = any($1::text[]) and v.publication = 'released' order by r.public_id for share of v
