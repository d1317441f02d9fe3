-- $1 acquisition[]: files that waited for a worklist naming them, or were taken for mere duplicates
update core.arrival set state = 'recorded', waiting_kind = '', waiting_for = '', duplicate_of = null
where (state = 'waiting' and waiting_kind = 'worklist' or state = 'recorded' and duplicate_of is not null)
  and id in (select r.arrival from core.acquisition_revision r where r.acquisition = any($1::bigint[]))
