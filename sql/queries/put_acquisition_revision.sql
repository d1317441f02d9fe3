-- $1 acquisition, $2 digest, $3 arrival, $4 record, $5 file, $6 vial, $7 header, $8 problems,
-- $9 started_local, $10 zone, $11 started_at, $12 start_status
with revision as (
    insert into core.acquisition_revision (acquisition, number, digest, arrival, record, file, vial, header, problems, started_local, zone, started_at, start_status)
    values ($1, 1 + coalesce((select max(number) from core.acquisition_revision where acquisition = $1), 0), $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
    returning id
), moved as (
    update core.acquisition set head = (select id from revision) where id = $1
)
select id from revision
