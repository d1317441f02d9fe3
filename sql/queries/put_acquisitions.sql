-- $1 instrument, $2 key[]
insert into core.acquisition (instrument, key)
select $1, k from unnest($2::text[]) as k order by k
on conflict (instrument, key) do nothing
