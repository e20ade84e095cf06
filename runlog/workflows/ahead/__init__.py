"""Before the next run: forecast, its record, and the plan."""
