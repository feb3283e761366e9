"""Known patterns in the picture: decoded, registered, told apart from the smear of the shutter.

Knows tags and textures, not where they are stuck. Ask it to find tags (`TagFinder`), to register a
pattern (`register`) and what exposure a moving one tells of (`ShutterGauge`).
"""

from pennyfall.tracker.marks.decoding import TagFinder
from pennyfall.tracker.marks.pattern import Pattern, TagPattern
from pennyfall.tracker.marks.registration import Registration, register
from pennyfall.tracker.marks.resting import RestingPattern
from pennyfall.tracker.marks.shutter import ShutterGauge

__all__ = [
    "Pattern",
    "Registration",
    "RestingPattern",
    "ShutterGauge",
    "TagFinder",
    "TagPattern",
    "register",
]
