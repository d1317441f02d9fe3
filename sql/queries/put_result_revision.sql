-- $1 result, $2 number, $3 evaluation, $4 instrument, $5 acquisition key, $6 acquisition digest, $7 digest, $8 position, $9 value, $10 reported, $11 unit,
-- $12 censored, $13 lod, $14 loq, $15 standard_uncertainty, $16 qualifiers, $17 quantity, $18 kind, $19 cas, $20 notices, $21 disposition,
-- $22 publication, $23 authoriser, $24 used revision[], $25 holding check[]
with revision as (
    insert into core.result_revision (result, number, evaluation, acquisition_revision, digest, position, value, reported, unit, censored, lod, loq,
        standard_uncertainty, qualifiers, quantity, kind, cas, notices, disposition, publication, authoriser)
    select $1, $2, $3, r.id, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23
    from core.acquisition a join core.acquisition_revision r on r.id = a.head
    where a.instrument = $4 and a.key = $5 and r.digest = $6
    returning id
), headed as (
    update core.result set head = (select id from revision) where id = $1
), uses as (
    insert into core.result_use (revision, used) select revision.id, u from revision, unnest($24::bigint[]) as u
), holds as (
    insert into core.result_hold (revision, check_id) select revision.id, h from revision, unnest($25::text[]) as h
)
select id from revision
