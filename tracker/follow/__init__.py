"""One pass over a clip's pictures: sheet, head (tag, dot or patch) and balls, in pixels.

Knows the printed sheet and what is followed on the head; nothing in metres but the sheet itself. Ask it
for everything one pass saw: feed a `ClipFollower` every frame, then take what was `Followed`.
"""

from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.clip_pass import ClipFollower, Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack

__all__ = [
    "Box",
    "ClipFollower",
    "Followed",
    "PixelTrack",
]
