-- $1 document, $2 sample[], $3 lot[], $4 category[], $5 producer[], $6 body[]
insert into core.sample (document, sample, lot, category, producer, body)
select $1, s.* from unnest($2::text[], $3::text[], $4::text[], $5::text[], $6::jsonb[]) as s
