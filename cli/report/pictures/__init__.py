"""Pictures drawn with matplotlib: a stroke, its coin, the plan."""

__all__ = ["coin", "figure_file", "fitting", "moments", "plan", "stroke"]
