-- Columns of a log that may be one canonical channel nearly as surely: the crew is asked which is. Place 0 was taken.
create table book.main.close_call (
    body bigint not null, canonical varchar not null, place smallint not null, name varchar not null,
    confidence double not null, why varchar not null
);
