-- $1 batch, $2 plan, $3 engine
select m.position, a.instrument, a.key, r.id, r.digest, r.record, r.started_local, r.zone, r.started_at, r.start_status,
    v.root, v.holds, v.path, v.path_text, v.object, v.size, v.instrument, v.taken_at, d.object
from core.batch b
join core.member m on m.document = b.worklist
join core.acquisition a on a.id = m.acquisition
join core.acquisition_revision r on r.id = a.head
join core.line l on l.document = m.document and l.position = m.position
    and (l.file = '' or l.file = r.file) and (l.vial = '' or l.vial = r.vial) -- a new revision may have another name
join core.arrival v on v.id = r.arrival
left join core.reduction d on d.revision = r.id and d.plan = $2 and d.engine = $3
where b.id = $1
order by m.position, a.key
