-- +goose Up
-- schema core exists already: it holds the migration table.
grant usage on schema core to "{prefix}_service", "{prefix}_qa";

comment on table core.migration is 'The migrations that were applied';

-- Custody -------------------------------------------------------------------------------

create table core.object (
    sha256  bytea  primary key check (length(sha256) = 32),
    size    bigint not null check (size >= 0),
    archive text   not null
);
comment on table core.object is 'Bytes in an archive, named by their SHA-256; never changed';
comment on column core.object.archive is 'Id of the archive that holds the bytes';

create table core.arrival (
    id            bigint generated always as identity primary key,
    daemon        text   not null,
    journal       bigint not null,
    root          text   not null,
    instrument    text   not null,
    holds         text   not null check (holds in ('exports', 'documents')),
    path          bytea  not null,
    path_text     text   not null,
    source_mtime  timestamptz not null,
    object        bytea  not null references core.object,
    size          bigint not null,
    end_proof     text   not null,
    incomplete    text   not null,
    taken_at      timestamptz not null,
    state         text   not null check (state in ('in custody', 'parsing', 'recorded', 'waiting', 'refused')),
    waiting_kind  text   not null default '' check (waiting_kind in ('', 'worklist', 'profile', 'method')),
    waiting_for   text   not null default '',
    refusal_code  text   not null default '',
    refusal_where text   not null default '',
    refusal_text  text   not null default '',
    problems      jsonb  not null default '[]',
    duplicate_of  bigint references core.arrival,
    attempts      int    not null default 0 check (attempts >= 0),
    fence         bigint not null default 0,
    leased_by     text   not null default '',
    lease_until   timestamptz,
    unique (daemon, journal),
    check ((state = 'waiting') = (waiting_for <> '')),
    check ((state = 'refused') = (refusal_code <> '')),
    check ((state = 'parsing') = (lease_until is not null))
);
comment on table core.arrival is 'A file seen complete in a watched folder, taken into custody: one row a journal entry';
comment on column core.arrival.path is 'Path below the root, byte for byte; path_text is its printable form';
comment on column core.arrival.incomplete is 'Why the file was taken without its end proof; empty when it was whole';
comment on column core.arrival.taken_at is 'When custody was taken, by the clock of the daemon''s machine';
comment on column core.arrival.attempts is 'How often parsing was begun; written before it begins';
comment on column core.arrival.fence is 'Rises with each claim: a worker whose claim was taken over cannot write';
create index arrival_open on core.arrival (id) where state in ('in custody', 'parsing');
create index arrival_waiting on core.arrival (waiting_kind) where state = 'waiting';
create index arrival_object on core.arrival (object);
create index arrival_path on core.arrival (root, path);

-- Documents -----------------------------------------------------------------------------

create table core.document (
    id             bigint generated always as identity primary key,
    kind           text   not null check (kind in ('method', 'profile', 'worklist', 'register', 'standards')),
    name           text   not null check (name <> ''),
    version        text   not null check (version <> ''),
    object         bytea  not null references core.object,
    arrival        bigint not null references core.arrival,
    author         text   not null,
    reason         text   not null,
    effective_from timestamptz,
    body           jsonb  not null,
    unique (kind, name, version),
    check ((kind = 'method') = (effective_from is not null))
);
comment on table core.document is 'One version of a method, profile, worklist, register or standards list; a version has exactly one content';
comment on column core.document.body is 'The document as read, in canonical form';

create table core.sample (
    document  bigint not null references core.document,
    sample    text   not null,
    lot       text   not null,
    category  text   not null,
    producer  text   not null,
    body      jsonb  not null,
    current   boolean not null default true,
    primary key (document, sample)
);
comment on table core.sample is 'A registered sample as one version of a register states it; body has the claims';
create unique index sample_current on core.sample (sample) where current;

create table core.standard (
    document bigint not null references core.document,
    standard text   not null,
    body     jsonb  not null,
    current  boolean not null default true,
    primary key (document, standard)
);
comment on table core.standard is 'A standard as one version of a standards list states it';
create unique index standard_current on core.standard (standard) where current;

-- Batches and acquisitions ----------------------------------------------------------------

create table core.batch (
    id                bigint generated always as identity primary key,
    name              text   not null unique,
    instrument        text   not null,
    method_name       text   not null,
    worklist          bigint not null references core.document,
    method            bigint references core.document,
    state             text   not null default 'open' check (state in ('open', 'closed')),
    closed_cause      text   not null default '' check (closed_cause in ('', 'worklist complete', 'signature', 'time')),
    version           bigint not null default 1,
    evaluated_version bigint not null default 0,
    waiting_for       text   not null default '',
    changed_at        timestamptz not null default clock_timestamp(),
    check ((state = 'closed') = (closed_cause <> '')),
    check (evaluated_version <= version)
);
comment on table core.batch is 'Samples measured together with the quality control that covers them; named by its worklist';
comment on column core.batch.method is 'The method version that the batch is bound to: the one effective when it was acquired';
comment on column core.batch.version is 'Rises with each member, document, decision or closing';
comment on column core.batch.evaluated_version is 'The version that was evaluated last; lower than version: evaluation is due';
create index batch_dirty on core.batch (id) where evaluated_version < version;

create table core.line (
    document   bigint not null references core.document,
    position   int    not null check (position > 0),
    batch      bigint not null references core.batch,
    instrument text   not null,
    file       text   not null,
    vial       text   not null,
    sample     text   not null,
    role       text   not null,
    standards  text[] not null,
    body       jsonb  not null,
    primary key (document, position),
    check (file <> '' or vial <> '')
);
comment on table core.line is 'One position of one version of a worklist';
create index line_sample on core.line (sample) where sample <> '';
create index line_batch on core.line (batch);
create index line_match on core.line (instrument, file, vial);
create index line_standards on core.line using gin (standards);

create table core.acquisition (
    id         bigint generated always as identity primary key,
    instrument text   not null,
    key        text   not null,
    head       bigint,
    unique (instrument, key)
);
comment on table core.acquisition is 'One recording by an instrument; key is the native key from the content, else root and path';

create table core.acquisition_revision (
    id            bigint generated always as identity primary key,
    acquisition   bigint not null references core.acquisition,
    number        int    not null check (number > 0),
    digest        bytea  not null check (length(digest) = 32),
    arrival       bigint not null references core.arrival,
    record        int    not null check (record > 0),
    file          text   not null,
    vial          text   not null,
    header        jsonb  not null,
    problems      jsonb  not null,
    started_local text   not null,
    zone          text   not null,
    started_at    timestamptz,
    start_status  text   not null,
    unique (acquisition, number),
    unique (arrival, record)
);
comment on table core.acquisition_revision is 'One content of an acquisition; a re-export with other content is a new revision';
comment on column core.acquisition_revision.digest is 'SHA-256 of the record''s own bytes and header';
comment on column core.acquisition_revision.started_at is 'Null when the start is absent or a clock change makes it ambiguous; see start_status';
create index acquisition_revision_file on core.acquisition_revision (file);
alter table core.acquisition add foreign key (head) references core.acquisition_revision deferrable initially deferred;

create table core.member (
    document    bigint not null,
    position    int    not null,
    acquisition bigint not null references core.acquisition,
    primary key (document, position, acquisition),
    foreign key (document, position) references core.line
);
comment on table core.member is 'An acquisition that a worklist line names';
create index member_acquisition on core.member (acquisition);

create table core.reduction (
    revision bigint not null references core.acquisition_revision,
    plan     bytea  not null check (length(plan) = 32),
    engine   text   not null,
    object   bytea  not null references core.object,
    primary key (revision, plan, engine)
);
comment on table core.reduction is 'Where the archive keeps the reduction of an acquisition revision; rebuildable';

-- Evaluations -------------------------------------------------------------------------------

create table core.evaluation (
    id            bigint generated always as identity primary key,
    batch         bigint not null references core.batch,
    number        int    not null check (number > 0),
    batch_version bigint not null,
    input         bytea  not null references core.object,
    output        bytea  not null check (length(output) = 32),
    engine        text   not null,
    architecture  text   not null,
    unique (batch, number)
);
comment on table core.evaluation is 'One evaluation of a batch; its canonical input is in the archive and can be replayed';
comment on column core.evaluation.output is 'SHA-256 of the canonical evaluation';

create table core.calibration (
    id         bigint generated always as identity primary key,
    evaluation bigint not null references core.evaluation,
    batch      bigint not null references core.batch,
    run        text   not null,
    analyte    text   not null,
    accepted   boolean not null,
    digest     bytea  not null,
    body       jsonb  not null,
    current    boolean not null default true
);
create unique index calibration_current on core.calibration (batch, run, analyte) where current;
comment on table core.calibration is 'A calibration function as an evaluation fitted it; current until a later evaluation differs';

create table core.verdict (
    id          bigint generated always as identity primary key,
    evaluation  bigint not null references core.evaluation,
    batch       bigint not null references core.batch,
    check_id    text   not null,
    rule        text   not null,
    scope       text   not null,
    analyte     text   not null,
    subject     text   not null,
    acquisition text   not null,
    positions   int[]  not null,
    statistic   text   not null,
    observed    double precision check (abs(observed) < 'Infinity'),
    limit_low   double precision check (abs(limit_low) < 'Infinity'),
    limit_high  double precision check (abs(limit_high) < 'Infinity'),
    unit        text   not null,
    verdict     text   not null check (verdict in ('pass', 'fail', 'pending', 'missing', 'not applicable', 'not evaluable')),
    reason      text   not null,
    waiting_for text   not null,
    source      text   not null,
    digest      bytea  not null,
    current     boolean not null default true
);
comment on table core.verdict is 'What a rule said of a subject; current until a later evaluation differs';
comment on column core.verdict.observed is 'In unit; null is missing, never 0';
create unique index verdict_current on core.verdict (batch, check_id) where current;
create index verdict_failing on core.verdict (id) where current and verdict in ('fail', 'missing', 'not evaluable');

create table core.cover (
    verdict       bigint not null references core.verdict,
    ordinal       int    not null,
    analyte       text   not null,
    basis         text   not null,
    from_position int    not null,
    to_position   int    not null,
    effect        text   not null check (effect in ('holds', 'exempt by rule', 'waived by decision', 'superseded by repeat', 'informs')),
    primary key (verdict, ordinal),
    check (from_position <= to_position)
);
comment on table core.cover is 'What a check covers: an analyte (empty: all) on a basis (empty: all) at a range of positions';

create table core.finding (
    id         bigint generated always as identity primary key,
    evaluation bigint not null references core.evaluation,
    batch      bigint not null references core.batch,
    code       text   not null,
    subject    text   not null,
    text       text   not null,
    current    boolean not null default true
);
comment on table core.finding is 'A remark on a batch that no rule carries, such as an acquisition that no worklist line names';
create unique index finding_current on core.finding (batch, code, subject, text) where current;

-- Results -----------------------------------------------------------------------------------

create table core.result (
    id          bigint generated always as identity primary key,
    public_id   text   not null unique,
    batch       bigint not null references core.batch,
    acquisition bigint not null references core.acquisition,
    sample      text   not null,
    analyte     text   not null,
    basis       text   not null check (basis in ('as is', 'per hL of pure alcohol')),
    head        bigint,
    unique (batch, acquisition, analyte, basis)
);
comment on table core.result is 'One analyte in one acquisition on one basis';

create table core.publication_step (
    from_state text not null,
    to_state   text not null,
    primary key (from_state, to_state)
);
comment on table core.publication_step is 'The transition table of publication, as in the program; empty from_state is a new revision';
insert into core.publication_step (from_state, to_state) values
    ('', 'held'), ('', 'cleared'), ('', 'released'),
    ('held', 'cleared'), ('held', 'released'), ('held', 'rejected'), ('held', 'superseded'),
    ('cleared', 'held'), ('cleared', 'released'), ('cleared', 'rejected'), ('cleared', 'superseded'),
    ('released', 'superseded'), ('released', 'withdrawn'),
    ('rejected', 'superseded'),
    ('withdrawn', 'superseded');

create table core.result_revision (
    id                   bigint generated always as identity primary key,
    result               bigint not null references core.result,
    number               int    not null check (number > 0),
    evaluation           bigint not null references core.evaluation,
    acquisition_revision bigint not null references core.acquisition_revision,
    digest               bytea  not null check (length(digest) = 32),
    position             int    not null,
    value                double precision check (abs(value) < 'Infinity'), -- NaN is not below infinity either
    reported             text   not null,
    unit                 text   not null,
    censored             text   not null check (censored in ('', 'below LOD', 'below LOQ', 'above range')),
    lod                  double precision check (abs(lod) < 'Infinity'),
    loq                  double precision check (abs(loq) < 'Infinity'),
    standard_uncertainty double precision check (abs(standard_uncertainty) < 'Infinity'),
    qualifiers           text[] not null,
    quantity             text   not null,
    kind                 text   not null,
    cas                  text   not null,
    notices              jsonb  not null,
    disposition          text   not null check (disposition in ('clear', 'held')),
    publication          text   not null check (publication in ('held', 'cleared', 'released', 'rejected', 'superseded', 'withdrawn')),
    authoriser           text   not null,
    unique (result, number),
    check (censored = '' or value is null),
    check (disposition = 'clear' or publication not in ('cleared', 'released')),
    check (publication <> 'released' or authoriser <> '')
);
comment on table core.result_revision is 'One content of a result with its publication towards readers';
comment on column core.result_revision.value is 'Full precision, in unit; null when censored or not to be had';
comment on column core.result_revision.reported is 'Rounded once by the method''s rule; with < or > when censored';
comment on column core.result_revision.loq is 'Limit of quantitation in unit, dilution included';
create unique index result_released_once on core.result_revision (result) where publication = 'released';
alter table core.result add foreign key (head) references core.result_revision deferrable initially deferred;
create index result_sample on core.result (sample, analyte);
create index result_revision_evidence on core.result_revision (acquisition_revision) where publication = 'released';

create table core.publication (
    revision bigint not null references core.result_revision,
    step     int    not null check (step > 0),
    state    text   not null,
    reason   text   not null,
    at       timestamptz not null default clock_timestamp(),
    primary key (revision, step)
);
comment on table core.publication is 'History of a revision''s publication';

create table core.result_use (
    revision bigint not null references core.result_revision,
    used     bigint not null references core.result_revision,
    primary key (revision, used)
);
comment on table core.result_use is 'Results of other batches that a revision was computed with';
create index result_use_used on core.result_use (used);

create table core.result_hold (
    revision bigint not null references core.result_revision,
    check_id text   not null,
    primary key (revision, check_id)
);
comment on table core.result_hold is 'The failed checks that hold a revision; what it merely waits for follows from the pending verdicts';

-- +goose StatementBegin
create function core.check_publication() returns trigger
    language plpgsql
    set search_path = pg_catalog
    as $$
declare
    before text := case when tg_op = 'INSERT' then '' else old.publication end;
begin
    if before is distinct from new.publication
       and not exists (select from core.publication_step s where s.from_state = before and s.to_state = new.publication) then
        raise exception 'a result revision may not go from "%" to "%"', before, new.publication using errcode = 'check_violation';
    end if;
    if tg_op = 'UPDATE' and (to_jsonb(new) - 'publication' - 'authoriser') is distinct from (to_jsonb(old) - 'publication' - 'authoriser') then
        raise exception 'a result revision is never changed; write a new one' using errcode = 'integrity_constraint_violation';
    end if;
    return new;
end
$$;
-- +goose StatementEnd
create trigger publication_step before insert or update on core.result_revision for each row execute function core.check_publication();

-- Narrow rights: the service adds rows and moves states; it never deletes or rewrites evidence.
grant select on all tables in schema core to "{prefix}_service";
grant insert on core.object, core.arrival, core.document, core.sample, core.standard, core.batch, core.line, core.acquisition,
    core.acquisition_revision, core.member, core.reduction, core.evaluation, core.calibration, core.verdict, core.cover, core.finding,
    core.result, core.result_revision, core.publication, core.result_use, core.result_hold to "{prefix}_service";
grant update (state, waiting_kind, waiting_for, refusal_code, refusal_where, refusal_text, problems, duplicate_of, attempts, fence, leased_by, lease_until)
    on core.arrival to "{prefix}_service";
grant update (current) on core.sample, core.standard, core.calibration, core.verdict, core.finding to "{prefix}_service";
grant update (worklist, method, state, closed_cause, version, evaluated_version, waiting_for, changed_at) on core.batch to "{prefix}_service";
grant update (head) on core.acquisition, core.result to "{prefix}_service";
grant update (publication, authoriser) on core.result_revision to "{prefix}_service";
grant update (object) on core.reduction to "{prefix}_service";
