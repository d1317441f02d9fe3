-- $1 batch
select r.public_id, r.id, v.id, v.number, v.digest, v.publication
from core.result r join core.result_revision v on v.id = r.head where r.batch = $1
