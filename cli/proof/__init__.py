"""The proof: simulated strokes with known truth, measured like clips, beside bounds and alternatives."""

__all__ = [
    "alternatives",
    "comparison",
    "conditions",
    "drawings",
    "filming",
    "page",
    "performing",
    "plain_kalman",
    "published",
    "run",
    "scores",
    "strokes",
    "study",
    "tables",
    "trials",
    "worlds",
]
