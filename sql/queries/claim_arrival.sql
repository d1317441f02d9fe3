-- $1 daemon, $2 archive, $3 lease (interval), $4 arrivals that this process is working on, $5 suspects: files whose reading was
-- begun before and never ended. Oldest first, documents before exports: they say how exports are read. A claim of this daemon on which nobody works was committed without an answer or
-- could not be handed back: it is taken up again, and is no new attempt.
update core.arrival set state = 'parsing', fence = fence + 1, leased_by = $1,
    attempts = attempts + case when state = 'parsing' and leased_by = $1 and id <> all($4::bigint[]) then 0 else 1 end,
    lease_until = clock_timestamp() + $3::interval
where id = (
    select a.id from core.arrival a join core.object o on o.sha256 = a.object
    where o.archive = $2
      and case
          when a.state = 'in custody' then (a.attempts > 0) = $5
          when a.state <> 'parsing' then false
          when a.leased_by = $1 and a.id <> all($4::bigint[]) then (a.attempts > 1) = $5
          else a.lease_until < clock_timestamp() and not $5
          end
      and a.state in ('in custody', 'parsing')
    order by a.holds, a.id limit 1
    for update of a skip locked)
returning id, fence, attempts, daemon, journal, root, instrument, holds, path, path_text, source_mtime, object, size, end_proof, incomplete, taken_at,
    (select coalesce(max(id), 0) from core.document)
