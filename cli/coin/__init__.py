"""The coin predicted, and the plan of its drill, from a clip or from measurement files."""

__all__ = ["planning", "predicting", "setup"]
