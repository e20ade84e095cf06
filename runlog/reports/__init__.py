"""What a page says, and how it looks on a terminal. Sees result records only."""
