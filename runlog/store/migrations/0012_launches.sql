-- Traces tell the first motion by each shape of the push, and earlier launches tell the shape: all is computed anew.
delete from book.main.trace_result;
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.run_result);
