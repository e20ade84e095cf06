"""A car's links, weights and launch loads as they stand, and as a change would make them."""
