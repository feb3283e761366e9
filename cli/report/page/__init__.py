"""The lesson's page: one HTML file that holds everything."""

__all__ = ["dot_chart", "drawings", "landing_chart", "lesson", "profile_chart", "reading", "svg", "tables"]
