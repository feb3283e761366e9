"""The coin's story and the plan of its drill, from a clip or from measurement files."""

__all__ = ["planning", "setup", "sighting", "telling"]
