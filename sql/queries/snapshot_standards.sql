-- $1 batch
select s.body, d.name, d.version, d.object
from core.standard s join core.document d on d.id = s.document
where s.current and s.standard in (select unnest(l.standards) from core.line l join core.batch b on b.worklist = l.document where b.id = $1)
order by s.standard
