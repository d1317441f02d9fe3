-- $1 document: whether a profile was recorded after it
select exists (select from core.document where kind = 'profile' and id > $1)
