-- $1 batch
select s.sample, s.category, d.name, d.version, d.object
from core.sample s join core.document d on d.id = s.document
where s.current and s.sample in (select l.sample from core.line l join core.batch b on b.worklist = l.document where b.id = $1)
order by s.sample
