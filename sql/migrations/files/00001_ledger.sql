-- +goose Up
-- One ledger is the audit trail and the feed. Its entries are dense, chained by hash and
-- written by one function only, as the last statement of a transaction.
create schema ledger;
grant usage on schema ledger to "{prefix}_service", "{prefix}_lims", "{prefix}_qa", "{prefix}_classifier";

create table ledger.head (
    one  boolean     primary key default true check (one),
    seq  bigint      not null,
    hash bytea       not null check (length(hash) = 32),
    at   timestamptz not null
);
comment on table ledger.head is 'The newest entry: the row that every writing transaction locks last';

create table ledger.entry (
    seq       bigint      primary key check (seq >= 0),
    at        timestamptz not null,
    actor     text        not null check (actor <> ''),
    kind      text        not null check (kind <> ''),
    subject   text        not null,
    reason    text        not null,
    digest    bytea       not null check (length(digest) = 32),
    prev_hash bytea       not null check (length(prev_hash) = 32),
    hash      bytea       not null unique check (length(hash) = 32)
);
comment on table ledger.entry is 'One entry a transaction, in commit order, chained by hash';
comment on column ledger.entry.seq is 'Dense number from 1; 0 is the genesis of this database';
comment on column ledger.entry.at is 'Server time, never falling';
comment on column ledger.entry.actor is 'A named person, or the service with its build and configuration hash';
comment on column ledger.entry.kind is 'What the transaction did';
comment on column ledger.entry.subject is 'What it concerned: a batch, a file, a document';
comment on column ledger.entry.digest is 'SHA-256 of the canonical JSON of what the transaction wrote';

create table ledger.event (
    seq               bigint not null references ledger.entry deferrable initially deferred,
    ordinal           int    not null check (ordinal >= 1),
    kind              text   not null check (kind in ('released', 'corrected', 'withdrawn', 'rejected')),
    result            text   not null,
    revision          int    not null,
    previous_revision int,
    reason            text   not null,
    primary key (seq, ordinal),
    check ((kind = 'corrected') = (previous_revision is not null))
);
comment on table ledger.event is 'What happened to results towards readers, hung on an entry';
comment on column ledger.event.result is 'Public id of the result';
comment on column ledger.event.revision is 'Revision released, corrected to, withdrawn or rejected';
create index event_result on ledger.event (result, revision);

-- +goose StatementBegin
create function ledger.events_of(entry_seq bigint) returns text
    language sql stable
    set search_path = pg_catalog
    as $$
    select coalesce(json_agg(json_build_array(ordinal, kind, result, revision, previous_revision, reason) order by ordinal)::text, '[]')
    from ledger.event where seq = entry_seq
$$;

create function ledger.hash_of(seq bigint, prev_hash bytea, at timestamptz, actor text, kind text, subject text, reason text, digest bytea, events text)
    returns bytea
    language sql immutable
    set search_path = pg_catalog
    as $$
    select sha256(convert_to(json_build_array(seq, encode(prev_hash, 'hex'),
        (extract(epoch from at) * 1000000)::bigint, actor, kind, subject, reason, encode(digest, 'hex'), events)::text, 'UTF8'))
$$;

-- append writes the transaction's entry. It must be the last statement before COMMIT: it
-- takes the lock on the head, so that seq follows commit order and has no gaps.
create function ledger.append(actor text, kind text, subject text, reason text, digest bytea, events jsonb,
                              out seq bigint, out hash bytea)
    language plpgsql security definer
    set search_path = pg_catalog
    as $$
declare
    head ledger.head;
    stamp timestamptz;
begin
    select * into strict head from ledger.head h where h.one for update;
    seq := head.seq + 1;
    stamp := greatest(clock_timestamp(), head.at);
    insert into ledger.event (seq, ordinal, kind, result, revision, previous_revision, reason)
    select append.seq, e.n, e.event->>'kind', e.event->>'result', (e.event->>'revision')::int, (e.event->>'previous_revision')::int, coalesce(e.event->>'reason', '')
    from jsonb_array_elements(events) with ordinality as e(event, n);
    hash := ledger.hash_of(seq, head.hash, stamp, actor, kind, subject, reason, digest, ledger.events_of(seq));
    insert into ledger.entry (seq, at, actor, kind, subject, reason, digest, prev_hash, hash)
    values (seq, stamp, actor, kind, subject, reason, digest, head.hash, append.hash);
    update ledger.head h set seq = append.seq, hash = append.hash, at = stamp where h.one;
end
$$;

-- first_broken names the first seq at which the ledger is not as it was written: an entry is
-- missing or altered, an event is missing, altered or without entry, the chain or the time
-- does not fit, or the head is gone or elsewhere. Null: all is well. One who rewrites all that
-- follows, hashes included, is found out by an anchor kept outside of the database.
create function ledger.first_broken() returns bigint
    language sql stable
    set search_path = pg_catalog
    as $$
    with chained as (
        select e.*, coalesce(lag(seq) over w, -1) as seq_before, lag(hash) over w as hash_before, lag(at) over w as at_before
        from ledger.entry e window w as (order by seq)
    ), newest as (
        select coalesce(max(seq), -1) as seq from ledger.entry
    )
    select min(seq) from (
        select seq_before + 1 from chained where seq <> seq_before + 1
        union all
        select seq from chained
        where seq > 0 and (prev_hash is distinct from hash_before or at < at_before)
           or hash is distinct from ledger.hash_of(seq, prev_hash, at, actor, kind, subject, reason, digest, ledger.events_of(seq))
        union all
        select v.seq from ledger.event v where not exists (select from ledger.entry e where e.seq = v.seq)
        union all
        select case when h.seq < n.seq then h.seq + 1 when h.seq = n.seq then h.seq else n.seq + 1 end
        from newest n left join ledger.head h on true left join ledger.entry e on e.seq = n.seq
        where h.seq is null or (h.seq, h.hash, h.at) is distinct from (e.seq, e.hash, e.at)
    ) broken(seq)
$$;

create function ledger.refuse_change() returns trigger
    language plpgsql
    set search_path = pg_catalog
    as $$
begin
    raise exception 'ledger rows are never changed or deleted' using errcode = 'integrity_constraint_violation';
end
$$;
-- +goose StatementEnd

-- The genesis entry gives the chain its first link. Chance makes the chain, and a cursor on
-- it, recognisable as this database's.
insert into ledger.entry (seq, at, actor, kind, subject, reason, digest, prev_hash, hash)
select 0, g.at, 'migration', 'genesis', '', '', sha256(''), g.link, ledger.hash_of(0, g.link, g.at, 'migration', 'genesis', '', '', sha256(''), '[]')
from (select clock_timestamp() as at, sha256(convert_to(gen_random_uuid()::text, 'UTF8')) as link) g;
insert into ledger.head (seq, hash, at) select seq, hash, at from ledger.entry;

create trigger entry_is_final before update or delete or truncate on ledger.entry for each statement execute function ledger.refuse_change();
create trigger event_is_final before update or delete or truncate on ledger.event for each statement execute function ledger.refuse_change();

revoke all on function ledger.append from public;
grant execute on function ledger.append to "{prefix}_service";
grant select on ledger.head, ledger.entry, ledger.event to "{prefix}_service", "{prefix}_qa";
