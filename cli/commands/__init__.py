"""The commands: parse, call, print. One module a command, and what several share."""

__all__ = [
    "check",
    "clip_options",
    "club",
    "coin",
    "coin_choices",
    "demo",
    "history",
    "lens",
    "lesson",
    "measure",
    "measuring",
    "plan",
    "prove",
    "sheet",
]
