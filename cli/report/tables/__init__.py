"""Tables for the terminal and the page."""

__all__ = ["coin", "plan", "stroke", "truth", "written"]
