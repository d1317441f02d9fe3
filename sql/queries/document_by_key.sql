-- $1 kind, $2 name, $3 version
select d.id, d.object, a.path_text from core.document d join core.arrival a on a.id = d.arrival
where d.kind = $1 and d.name = $2 and d.version = $3
