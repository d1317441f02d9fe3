-- $1 limit: batches whose evaluation is due and that have a method
select id from core.batch where evaluated_version < version and method is not null order by changed_at, id limit $1
