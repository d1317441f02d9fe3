-- $1 batch
select b.version, b.evaluated_version, b.state, b.name, m.body->'release'
from core.batch b join core.document m on m.id = b.method where b.id = $1 for update of b
