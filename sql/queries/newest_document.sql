-- $1 kind, $2 name
select name, version, object, body from core.document where kind = $1 and name = $2 order by id desc limit 1
