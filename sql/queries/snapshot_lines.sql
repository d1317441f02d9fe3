-- $1 batch
select l.position, l.body from core.line l join core.batch b on b.worklist = l.document where b.id = $1 order by l.position
