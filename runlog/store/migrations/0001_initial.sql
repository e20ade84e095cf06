-- The first schema: originals and what was read from them (append-only), and results derived from those.
-- Names without a prefix that users may rely on are the views at the end; tables carry no indexes or keys beyond
-- what DuckDB can alter later, so integrity is kept by runlog.store. The file is attached as "book" while this runs;
-- DuckDB keeps the views without that name, so they also work where the file is opened under another.

-- One row for every file, typed entry or correction that was accepted, in the order it came.
create table book.main.entry (
    entry bigint not null,
    kind varchar not null,              -- track, car, sheet, slips, air, logger, map
    sha256 varchar not null,            -- of the original bytes
    name varchar not null,              -- file name as given, or a short text for typed entries
    given varchar not null,             -- JSON: options that the user gave with it
    run varchar,                        -- logger: the key of the run that it was found to belong to
    stored_at timestamp not null        -- UTC
);

create table book.main.original (sha256 varchar not null, bytes bigint not null);
create table book.main.original_part (sha256 varchar not null, part integer not null, data blob using compression uncompressed);

create table book.main.track_fact (entry bigint not null, name varchar not null, content varchar not null);
create table book.main.car_fact (entry bigint not null, name varchar not null, content varchar not null);
create table book.main.map_fact (
    entry bigint not null, fingerprint varchar not null, name varchar not null, content varchar not null
);

create table book.main.slip_fact (
    entry bigint not null, car varchar not null, date date not null, number integer not null,
    time time, track varchar, lane varchar, purpose varchar,
    reaction double,                                                            -- s
    t60 double, t330 double, t660 double, t1000 double, t1320 double,           -- s from the start beam
    v660 double, v1320 double,                                                  -- m/s
    true_to_ft integer, spoiled varchar, note varchar
);

create table book.main.sheet_fact (
    entry bigint not null, sheet integer not null, car varchar not null, date date, number integer not null,
    is_full boolean not null, item varchar not null, value double, unit varchar not null, text varchar not null
);

create table book.main.air_fact (
    entry bigint not null, track varchar, time timestamp not null,
    temperature double not null, relative_humidity double not null, station_pressure double not null,   -- K, 0..1, Pa
    wind_speed double, wind_from_deg double, track_temperature double,                                   -- m/s, deg, K
    source varchar not null
);

create table book.main.trace_fact (
    entry bigint not null, car varchar not null, date date not null, number integer not null,
    started_at timestamp, fingerprint varchar not null
);
create table book.main.channel_fact (
    entry bigint not null, channel smallint not null, name varchar not null, canonical varchar, unit varchar not null,
    confidence double not null, time_base smallint not null
);
-- Samples: one row each, in SI where the unit is known. A channel's n-th sample was taken at the n-th tick of its base.
create table book.main.tick_fact (
    entry bigint not null, time_base smallint not null, n integer not null, time double not null   -- s
);
create table book.main.sample_fact (
    entry bigint not null, channel smallint not null, n integer not null, value float not null
);

-- What is computed, one row a run; runlog rebuild makes it anew from the facts.
create table book.main.run_result (
    car varchar not null, date date not null, number integer not null,
    time time, track varchar, lane varchar, purpose varchar, reaction double,
    clean boolean not null, spoiled varchar, note varchar, valid_to_ft integer,
    temperature double, relative_humidity double, station_pressure double, density double, density_ratio double,
    density_altitude double, wind_along double, track_temperature double, air_source varchar,
    t60 double, t330 double, t660 double, t1000 double, t1320 double, v660 double, v1320 double,
    corrected_t60 double, corrected_t330 double, corrected_t660 double, corrected_t1000 double,
    corrected_t1320 double, corrected_v660 double, corrected_v1320 double,
    trace_t60 double, trace_t330 double, trace_t660 double, trace_t1000 double, trace_t1320 double,
    trace_sd60 double, trace_sd330 double, trace_sd660 double, trace_sd1000 double, trace_sd1320 double,
    caveats varchar not null,           -- JSON: what to mind about the corrected figures
    expected varchar,                   -- JSON: {feet: [s, sd]} of runs of the car's newest day; null: not computed yet
    setup varchar not null,             -- JSON: every item in force, [{item, value, unit, text}]
    changes varchar not null,           -- JSON: what differs from the run before
    questions varchar not null          -- JSON: mismatches put to the crew
);
create table book.main.trace_result (entry bigint not null, findings varchar not null);   -- JSON
create table book.main.car_result (car varchar not null, vehicle varchar not null, effects varchar not null);  -- JSON

-- What facts came in after the results were computed: written with the facts, cleared with the results, so that a
-- program that was killed in between finishes the work next time. Null: all cars, all dates, all runs.
create table book.main.stale (car varchar, date date, number integer, trace_only boolean not null);

-- The read surface: documented in README.md, kept stable. What was corrected later replaces what was said before.

create view book.main.car as
    select name as car, content from car_fact qualify row_number() over (partition by name order by entry desc) = 1;
create view book.main.track as
    select name as track, content from track_fact qualify row_number() over (partition by name order by entry desc) = 1;
create view book.main.channel_map as
    select fingerprint, name, content from map_fact where fingerprint <> ''
    qualify row_number() over (partition by fingerprint order by entry desc) = 1;
create view book.main.slip as
    select * from slip_fact qualify row_number() over (partition by car, date, number order by entry desc) = 1;
create view book.main.sheet as
    select * from sheet_fact
    -- a full sheet replaces the whole of an earlier one for the same run; changes replace each other item by item
    qualify rank() over (partition by car, date, number, is_full, case when is_full then '' else item end
                         order by entry desc, sheet desc) = 1;
create view book.main.air as
    select * from air_fact qualify row_number() over (partition by track, time order by entry desc) = 1;
create view book.main.trace as
    select * from trace_fact qualify row_number() over (partition by car, date, number order by entry desc) = 1;
create view book.main.channel as
    select trace.car, trace.date, trace.number, channel_fact.*
    from channel_fact join trace on trace.entry = channel_fact.entry;
create view book.main.sample as
    select channel.car, channel.date, channel.number, channel.name, channel.canonical, tick_fact.time, sample_fact.value
    from channel
    join sample_fact on sample_fact.entry = channel.entry and sample_fact.channel = channel.channel
    join tick_fact on tick_fact.entry = channel.entry and tick_fact.time_base = channel.time_base
        and tick_fact.n = sample_fact.n;
create view book.main.run as
    select car || '/' || date || '/' || number as key, * exclude (caveats, expected, setup, changes, questions) from run_result;
create view book.main.split as
    select key, car, date, number, unnest([60, 330, 660, 1000, 1320]) as distance_ft,
        unnest([t60, t330, t660, t1000, t1320]) as measured,
        unnest([corrected_t60, corrected_t330, corrected_t660, corrected_t1000, corrected_t1320]) as corrected,
        unnest([trace_t60, trace_t330, trace_t660, trace_t1000, trace_t1320]) as trace
    from run;
create view book.main.increment as
    select key, car, date, number, unnest([0, 60, 330, 660, 1000]) as from_ft,
        unnest([60, 330, 660, 1000, 1320]) as to_ft,
        unnest([t60, t330 - t60, t660 - t330, t1000 - t660, t1320 - t1000]) as measured,
        unnest([corrected_t60, corrected_t330 - corrected_t60, corrected_t660 - corrected_t330,
                corrected_t1000 - corrected_t660, corrected_t1320 - corrected_t1000]) as corrected
    from run;
create view book.main.setup as
    select car, date, number, unnest(from_json(setup,
        '[{"item":"VARCHAR","value":"DOUBLE","unit":"VARCHAR","text":"VARCHAR"}]'), recursive := true)
    from run_result;
