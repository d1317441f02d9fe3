-- $1 instrument, $2 key
select id from core.acquisition where instrument = $1 and key = $2
