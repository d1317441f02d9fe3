-- $1 public_id, $2 batch, $3 instrument, $4 acquisition key, $5 sample, $6 analyte, $7 basis
insert into core.result (public_id, batch, acquisition, sample, analyte, basis)
select $1, $2, a.id, $5, $6, $7 from core.acquisition a where a.instrument = $3 and a.key = $4
returning id
