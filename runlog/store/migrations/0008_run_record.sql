-- What was recorded of each run beside its figures, and which combination of parts ran: a function of crew_fact.
alter table book.main.run_result add column record varchar;     -- JSON; null: nothing was

create or replace view book.main.run as
    select car || '/' || date || '/' || number as key,
        * exclude (caveats, expected, setup, changes, questions, alarms, record) from run_result;
create or replace view book.main.split as
    select key, car, date, number, unnest([60, 330, 660, 1000, 1320]) as distance_ft,
        unnest([t60, t330, t660, t1000, t1320]) as measured,
        unnest([corrected_t60, corrected_t330, corrected_t660, corrected_t1000, corrected_t1320]) as corrected,
        unnest([trace_t60, trace_t330, trace_t660, trace_t1000, trace_t1320]) as trace
    from run;
create or replace view book.main.increment as
    select key, car, date, number, unnest([0, 60, 330, 660, 1000]) as from_ft,
        unnest([60, 330, 660, 1000, 1320]) as to_ft,
        unnest([t60, t330 - t60, t660 - t330, t1000 - t660, t1320 - t1000]) as measured,
        unnest([corrected_t60, corrected_t330 - corrected_t60, corrected_t660 - corrected_t330,
                corrected_t1000 - corrected_t660, corrected_t1320 - corrected_t1000]) as corrected
    from run;

-- parts that were replaced before now start a baseline of their own
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.run_result);
