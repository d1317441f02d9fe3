-- A document is being recorded: nothing is bound, parked or recorded as a document meanwhile, so that neither side misses the other.
select pg_advisory_xact_lock(hashtextextended('core.document', 0))
