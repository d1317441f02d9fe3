select
    (select count(*) from core.arrival where state in ('in custody', 'parsing')),
    (select count(*) from core.arrival where state = 'recorded'),
    (select count(*) from core.arrival where state = 'waiting'),
    (select count(*) from core.arrival where state = 'refused'),
    (select count(*) from core.batch where evaluated_version < version and method is not null),
    (select count(*) from core.result_revision where publication = 'released'),
    (select count(*) from core.result r join core.result_revision v on v.id = r.head where v.publication in ('held', 'cleared'))
