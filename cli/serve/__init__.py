"""The page of a lesson: phones send clips to it, coach and student see their strokes seconds later."""

__all__ = [
    "arrival",
    "asking",
    "bench",
    "coach",
    "desk",
    "events",
    "guard",
    "line",
    "look",
    "page",
    "server",
    "views",
]
