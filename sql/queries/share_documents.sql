-- What is written depends on the documents that there are: none is recorded until this transaction ends.
select pg_advisory_xact_lock_shared(hashtextextended('core.document', 0))
