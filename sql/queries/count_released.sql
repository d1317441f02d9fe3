-- $1 result sample[], $2 analyte[], $3 basis[]: how many of these are released now
select count(*) from unnest($1::text[], $2::text[], $3::text[]) as k(sample, analyte, basis)
where exists (select from core.result r join core.result_revision v on v.id = r.head and v.publication = 'released'
    where r.sample = k.sample and r.analyte = k.analyte and r.basis = k.basis)
