"""From facts to results: whatever new facts have made out of date is computed again."""
