"""Questions to the crew: what doesn't fit together, the evidence, and what each answer does."""
