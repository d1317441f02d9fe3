-- $1 register name, $2 version's document: the facts of earlier versions of this register are no longer current
update core.sample s set current = false
from core.document d where d.id = s.document and d.kind = 'register' and d.name = $1 and d.id <> $2 and s.current
returning s.sample, s.body
