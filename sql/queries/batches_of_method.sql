-- $1 method name: batches that still wait for a version of it
select id from core.batch where method is null and method_name = $1 order by id
