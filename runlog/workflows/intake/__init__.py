"""From files and typed entries to facts: detect, parse, resolve, keep."""
