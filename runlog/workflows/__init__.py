"""What the commands do: reading, storing, computing and putting pages together."""
