-- What the slips have taught of each car's sensors and tyres, carried from run to run; computed, like run_result.
create table book.main.calibration_result (
    car varchar not null, date date not null, number integer not null,
    tyres varchar not null,             -- the driven tyres that it holds for
    learned boolean not null,           -- whether this run's slip taught something
    known varchar not null,             -- JSON: what its splits rest on
    after varchar not null              -- JSON: what is known after it
);

-- Splits from traces rest on it, so logbooks from before are computed anew.
delete from book.main.trace_result;
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.run_result);
