"""Pages as self-contained HTML documents: no network, charts with their script inlined, everything typed escaped."""
