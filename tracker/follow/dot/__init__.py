"""The head by a dot: its colour learned where it is first seen, its centroid followed."""

from pennyfall.tracker.follow.dot.colour import WantedColour
from pennyfall.tracker.follow.dot.follower import DotFollower

__all__ = [
    "DotFollower",
    "WantedColour",
]
