-- $1 acquisition[]: files that waited for a worklist naming them
update core.arrival set state = 'recorded', waiting_kind = '', waiting_for = ''
where state = 'waiting' and waiting_kind = 'worklist'
  and id in (select r.arrival from core.acquisition_revision r where r.acquisition = any($1::bigint[]))
