-- $1 evaluation, $2 batch, $3 check_id, $4 rule, $5 scope, $6 analyte, $7 subject, $8 acquisition, $9 positions, $10 statistic, $11 observed,
-- $12 limit_low, $13 limit_high, $14 unit, $15 verdict, $16 reason, $17 waiting_for, $18 source, $19 digest, $20 covers as jsonb
with verdict as (
    insert into core.verdict (evaluation, batch, check_id, rule, scope, analyte, subject, acquisition, positions, statistic, observed,
        limit_low, limit_high, unit, verdict, reason, waiting_for, source, digest)
    values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)
    returning id
)
insert into core.cover (verdict, ordinal, analyte, basis, from_position, to_position, effect)
select verdict.id, c.n, c.cover->>'analyte', coalesce(c.cover->>'basis', ''), (c.cover->>'from')::int, (c.cover->>'to')::int, c.cover->>'effect'
from verdict, jsonb_array_elements($20::jsonb) with ordinality as c(cover, n)
