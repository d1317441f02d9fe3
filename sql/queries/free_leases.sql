-- $1 daemon: claims of an earlier life of this daemon; the attempts stay counted
update core.arrival set state = 'in custody', leased_by = '', lease_until = null
where state = 'parsing' and leased_by = $1
