-- What was foretold and what was planned, kept as said: facts like any typed entry, append-only.
create table book.main.forecast_fact (
    entry bigint not null, car varchar not null, date date not null, number integer not null,   -- the run it was for
    content varchar not null            -- JSON, in the shape of forecast --json
);
create table book.main.plan_fact (
    entry bigint not null, car varchar not null, date date not null, number integer not null,   -- its first run
    content varchar not null            -- JSON, in the shape of plan --json
);

create view book.main.forecast as
    select car || '/' || date || '/' || number as key, * from forecast_fact;
create view book.main.plan as
    select * from plan_fact qualify row_number() over (partition by car, date order by entry desc) = 1;
