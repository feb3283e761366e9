"""Events, metrics, physics and statistics of a stroke: arrays in, values out."""

__all__ = ["clock", "coin", "errors", "lesson", "putt", "shelf", "stroke", "values"]
