-- $1 batch. The last column: something was withdrawn from it since it was evaluated last.
select b.version, b.evaluated_version, b.state, b.name, m.body->'release',
    exists (select from core.result r join core.result_revision v on v.id = r.head where r.batch = b.id and v.publication = 'withdrawn')
from core.batch b join core.document m on m.id = b.method where b.id = $1 for update of b
