-- More of what a trace shows is an event, and the hysteresis of temperatures is another: traces are analysed anew.
insert into book.main.stale select null, null, null, false where exists (select 1 from book.main.trace_result);
delete from book.main.trace_result;
