-- $1 instrument, $2 key
insert into core.acquisition (instrument, key) values ($1, $2)
on conflict (instrument, key) do nothing
returning id
