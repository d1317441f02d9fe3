-- $1 revision, $2 plan, $3 engine, $4 object
insert into core.reduction (revision, plan, engine, object) values ($1, $2, $3, $4)
on conflict (revision, plan, engine) do update set object = excluded.object
