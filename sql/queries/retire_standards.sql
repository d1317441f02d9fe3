-- $1 list name, $2 document
update core.standard s set current = false
from core.document d where d.id = s.document and d.kind = 'standards' and d.name = $1 and d.id <> $2 and s.current
returning s.standard, s.body
