-- $1 daemon
select coalesce(max(journal), 0) from core.arrival where daemon = $1
