"""The commands: parse, call, print. One module a command, and what several share."""

__all__ = [
    "check",
    "club",
    "coin",
    "demo",
    "history",
    "lens",
    "lesson",
    "measure",
    "measuring",
    "options",
    "plan",
    "prove",
    "sheet",
]
