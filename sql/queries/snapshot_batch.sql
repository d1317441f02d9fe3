-- $1 batch
select b.name, b.instrument, b.state, b.closed_cause, b.version, m.body, m.name, m.version, m.object, w.name, w.version, w.object,
    (select e.input from core.evaluation e where e.batch = b.id order by e.number desc limit 1)
from core.batch b join core.document m on m.id = b.method join core.document w on w.id = b.worklist
where b.id = $1
