"""A season: thousands of clips measured into one table, a row a stroke, here or on a cluster."""

__all__ = ["clips", "columns", "engines", "job", "journal", "removal", "run", "tables"]
