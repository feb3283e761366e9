"""Balls in the picture: found, watched at rest, followed in motion, by their outline.

Knows a camera and the size of a ball. Ask it for the balls of a clip, in pixels: feed a `BallWatcher`
every frame.
"""

from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.ball.watch import BallWatcher

__all__ = [
    "BallWatcher",
    "FollowedBall",
]
