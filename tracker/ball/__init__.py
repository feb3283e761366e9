"""Balls in the picture: found, watched at rest, followed in motion, by their outline.

Knows a camera and the size of a ball. Ask it for the balls of a clip, in pixels: feed a `BallWatcher`
every frame.

Edges count by the square of their height up to the upper quartile, since strong ones err least. Beside a dark
head on pale tiles those are the head's, and a ball in plain view was not found. Trusting edges from their
median on finds it (speed +0.5 ± 4 %), but would shift the centre of every ball by up to 1 px in side light:
so only a ball that fails is looked at once more with faint edges trusted.
"""

from pennyfall.tracker.ball.bare import BareBalls
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.ball.watch import BallWatcher

__all__ = [
    "BallWatcher",
    "BareBalls",
    "FollowedBall",
]
