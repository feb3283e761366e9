"""A lesson: clips, conditions and what changed between them."""
