"""The command line: every command parses, calls a workflow and renders."""
