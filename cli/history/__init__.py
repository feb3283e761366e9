"""The database of students, lessons, conditions and strokes, and what changed over the lessons."""

__all__ = ["database", "earlier", "export", "removal", "schema", "trend", "trend_picture", "trend_table"]
