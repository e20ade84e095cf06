"""The run record: what the driver felt, what was noted at the start line, and which parts ran how often."""
