"""A lesson in one go: measured, recorded, compared, reported."""

__all__ = ["clips", "demo", "glimpse", "measuring", "new", "run", "side_by_side"]
