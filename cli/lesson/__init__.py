"""A lesson in one go: measured, recorded, compared, reported."""

__all__ = ["clips", "demo", "gathering", "measuring", "new", "run", "verdict"]
