-- $1 kind: every version, oldest first
select name, version, object, body from core.document where kind = $1 order by id
