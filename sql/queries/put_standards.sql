-- $1 document, $2 standard[], $3 body[]
insert into core.standard (document, standard, body)
select $1, s.* from unnest($2::text[], $3::jsonb[]) as s
