"""The air of a run and of a day, and what it is worth."""
