-- $1 instrument: the methods of batches whose current worklist is for it
select distinct d.name, d.version, d.object, d.body
from core.batch b join core.document d on d.kind = 'method' and (d.id = b.method or (b.method is null and d.name = b.method_name))
where b.instrument = $1
order by d.name, d.version
