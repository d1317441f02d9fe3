-- $1 arrival
select state, fence from core.arrival where id = $1 for update
