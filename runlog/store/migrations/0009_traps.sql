-- Speed traps whose speed doesn't count, though their beam's time does: the car was coasting before it had left them.
alter table book.main.run_result add column coasted varchar;    -- JSON: beams in ft; null: none

create or replace view book.main.run as
    select car || '/' || date || '/' || number as key,
        * exclude (caveats, expected, setup, changes, questions, alarms, record, coasted) from run_result;

-- what is said of speeds, and of whose doing spoiled runs were, is computed anew
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.run_result);
