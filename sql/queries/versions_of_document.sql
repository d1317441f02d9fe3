-- $1 kind, $2 name: the versions that are recorded
select version from core.document where kind = $1 and name = $2
