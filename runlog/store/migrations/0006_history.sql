-- What stands about a thing, who said it knowing what, and what was withdrawn: for history, undo and merging.
-- Everything here is a function of entry, original and replaces, so that logbooks with the same of these say the same.

-- Entries are ordered by when they were stored, strictly increasing inside a logbook whatever its clock did; their
-- identity is that of their content, the same on every laptop.
alter table book.main.entry add column identity varchar;        -- SHA-256 of kind, sha256, given and run
alter table book.main.entry add column told_by varchar;         -- name on the laptop that stored it first
update book.main.entry set
    identity = system.main.sha256(kind || chr(10) || sha256 || chr(10) || given || chr(10) || coalesce(run, '')),
    told_by = '';
update book.main.entry set stored_at = later.at from (
    select entry, max(stored_at - to_microseconds(entry)) over (order by entry) + to_microseconds(entry) as at
    from book.main.entry
) as later where later.entry = entry.entry;

-- What each entry speaks of, withdrawn or not. says: JSON, alike where the same is said.
create table book.main.about (entry bigint not null, thing varchar not null, says varchar not null);
insert into book.main.about
    select entry, 'car ' || name, '' from book.main.car_fact
    union all select entry, 'track ' || name, '' from book.main.track_fact
    union all select entry, 'map ' || fingerprint, '' from book.main.map_fact
        where fingerprint <> '' and entry in (select entry from book.main.entry where kind = 'map')
    union all select entry, 'slip ' || car || '/' || date || '/' || number, '' from book.main.slip_fact
    union all select distinct entry,
        case when is_full then 'full sheet ' || car || coalesce('/' || date || '/' || number, '')
            else 'sheet ' || car || coalesce('/' || date || '/' || number, '') || ' ' || item end, ''
        from book.main.sheet_fact
    union all select distinct entry, 'air ' || strftime(time, '%Y-%m-%dT%H:%M:%S') || coalesce(' ' || track, ''), ''
        from book.main.air_fact
    union all select entry, 'trace ' || car || '/' || date || '/' || number, '' from book.main.trace_fact
    union all select entry, 'plan ' || car || '/' || date, '' from book.main.plan_fact
    union all select entry, 'forecast ' || car || '/' || date || '/' || number || ' ' || entry, ''
        from book.main.forecast_fact
    union all select entry, 'crew ' || what || ' ' || car || '/' || date || coalesce('/' || number, '') || ' ' || id, ''
        from book.main.crew_fact;

-- what is said of them isn't known here: it is noted when the logbook is next used, and results computed anew
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.entry);

-- The earlier entries about the same things that were in the logbook when an entry came: what it replaces knowingly.
create table book.main.replaces (entry bigint not null, identity varchar not null);
insert into book.main.replaces
    select distinct later.entry, known.identity
    from book.main.about as later
    join book.main.about as earlier on earlier.thing = later.thing and earlier.entry < later.entry
    join book.main.entry as known on known.entry = earlier.entry;

-- Withdrawals and their reversals: the last one about an entry holds.
create table book.main.undo_fact (entry bigint not null, identity varchar not null, withdrawn boolean not null);

-- Entries that can't be read with what stands before them, as after a merge with a logbook that withdrew a car file.
create table book.main.unread (entry bigint not null, why varchar not null);

-- Channels, ticks, samples and findings go by the body of a trace, so that entries can take another place in the
-- order, or a choice can say again what another entry said, without moving millions of samples.
alter table book.main.trace_fact add column body bigint;
update book.main.trace_fact set body = entry;
alter table book.main.channel_fact rename column entry to body;
alter table book.main.tick_fact rename column entry to body;
alter table book.main.sample_fact rename column entry to body;
alter table book.main.trace_result rename column entry to body;
create or replace view book.main.channel as
    select trace.car, trace.date, trace.number, trace.entry, channel_fact.* exclude (body)
    from channel_fact join trace on trace.body = channel_fact.body;
create or replace view book.main.sample as
    select trace.car, trace.date, trace.number, channel_fact.name, channel_fact.canonical, tick_fact.time,
        sample_fact.value
    from trace
    join channel_fact on channel_fact.body = trace.body
    join sample_fact on sample_fact.body = trace.body and sample_fact.channel = channel_fact.channel
    join tick_fact on tick_fact.body = trace.body and tick_fact.time_base = channel_fact.time_base
        and tick_fact.n = sample_fact.n;
