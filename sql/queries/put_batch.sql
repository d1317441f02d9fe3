-- $1 name, $2 instrument, $3 method name, $4 worklist document
insert into core.batch (name, instrument, method_name, worklist) values ($1, $2, $3, $4)
on conflict (name) do update set worklist = excluded.worklist, version = core.batch.version + 1,
    state = 'open', closed_cause = '', changed_at = clock_timestamp()
returning id, (xmax <> 0) as revised, instrument, method_name
