-- $1 daemon, $2 archive, $3 lease (interval). Oldest first, documents before exports: they say how exports are read.
update core.arrival set state = 'parsing', attempts = attempts + 1, fence = fence + 1, leased_by = $1,
    lease_until = clock_timestamp() + $3::interval
where id = (
    select a.id from core.arrival a join core.object o on o.sha256 = a.object
    where o.archive = $2
      and (a.state = 'in custody' or (a.state = 'parsing' and a.lease_until < clock_timestamp()))
    order by a.holds, a.id limit 1
    for update of a skip locked)
returning id, fence, attempts, daemon, journal, root, instrument, holds, path, path_text, source_mtime, object, size, end_proof, incomplete, taken_at,
    (select coalesce(max(id), 0) from core.document)
