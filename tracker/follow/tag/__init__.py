"""The head by its tag: decoded once, then registered from frame to frame."""

from pennyfall.tracker.follow.tag.follower import TagFollower

__all__ = [
    "TagFollower",
]
