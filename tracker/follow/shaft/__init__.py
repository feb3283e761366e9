"""The shaft: followed by its line across rows of the picture above the ball.

The shaft is long, straight and rigid with the head, is in every clip, and stands across the target line: its
edges tell the very coordinate that is wanted. Rows are kept during the pass (`follow/rows`); all else waits
for its end, when the floor behind the shaft is known wherever it was covered.
"""

from pennyfall.tracker.follow.shaft.following import follow_shaft

__all__ = ["follow_shaft"]
