"""From runs to effects, verdicts and forecasts. Pure: arrays and records in, records out."""
