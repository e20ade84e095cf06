-- What all cars together are learned from: each car's own statistics, so that a new run asks for those of its car only.
create table book.main.fleet_result (car varchar not null, statistics varchar not null);    -- JSON

-- results hold more than they did: those there are, are computed again when the logbook is next used
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.car_result);
