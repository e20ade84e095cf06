"""The logbook: one DuckDB file."""
