-- $1 document, $2 batch, $3 instrument, $4 position[], $5 file[], $6 vial[], $7 sample[], $8 role[], $9 standards (jsonb array of text arrays), $10 body[]
insert into core.line (document, batch, instrument, position, file, vial, sample, role, standards, body)
select $1, $2, $3, l.position, l.file, l.vial, l.sample, l.role,
    array(select jsonb_array_elements_text($9::jsonb -> (l.n::int - 1))), l.body
from unnest($4::int[], $5::text[], $6::text[], $7::text[], $8::text[], $10::jsonb[]) with ordinality as l(position, file, vial, sample, role, body, n)
