-- $1 arrival: the first other arrival of the same bytes
select o.id from core.arrival a join core.arrival o on o.object = a.object and o.id < a.id and o.holds = a.holds
where a.id = $1 order by o.id limit 1
