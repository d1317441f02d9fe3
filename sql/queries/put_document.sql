-- $1 kind, $2 name, $3 version, $4 object, $5 arrival, $6 author, $7 reason, $8 effective_from, $9 body
insert into core.document (kind, name, version, object, arrival, author, reason, effective_from, body)
values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
on conflict (kind, name, version) do nothing
returning id
