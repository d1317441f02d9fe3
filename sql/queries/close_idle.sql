-- $1 interval without change after which an open batch is closed
update core.batch set state = 'closed', closed_cause = 'time', version = version + 1, changed_at = clock_timestamp()
where state = 'open' and changed_at < clock_timestamp() - $1::interval
  and exists (select from core.member m where m.document = worklist)
returning name
