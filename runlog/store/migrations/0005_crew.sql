-- What the crew says beside figures: open items, checks, sign-offs, reports, answers. Append-only like every fact.
create table book.main.crew_fact (
    entry bigint not null,
    id varchar not null,                -- of the content: the same said twice is one fact
    what varchar not null,              -- item, item_closed, check, sign_off, …: schemas/crew.schema.json
    car varchar not null, date date not null, number integer,   -- null: no run in particular
    said_at timestamp not null,         -- local
    said_by varchar not null,           -- empty: not told
    content varchar not null            -- JSON: the rest, with its defaults
);

create view book.main.crew as
    select * from crew_fact qualify row_number() over (partition by id order by entry) = 1;
