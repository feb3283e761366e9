"""A lesson in sentences: what its comparison says, what it prescribes, and what would change that."""

__all__ = ["evidence", "numbers", "recommendation", "scales", "still_to_film"]
