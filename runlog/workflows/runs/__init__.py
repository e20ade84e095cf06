"""Pages about runs: one on its own, several side by side."""
