-- $1 instrument, $2 key[]: nobody else revises them until this transaction ends
select id from core.acquisition where instrument = $1 and key = any($2::text[]) order by key for no key update
