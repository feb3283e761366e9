"""From pixels to metres: the head's path and the balls in the world, and how surely.

Knows the camera of every frame and what the head's motion allows. Ask it for head and balls along the
target line (`place_tracks`), and for a camera where there is no sheet (`posed_by_head_tag`).
"""

from pennyfall.tracker.place.placing import PlacedTracks, place_tracks
from pennyfall.tracker.place.without_sheet import posed_by_head_tag

__all__ = [
    "PlacedTracks",
    "place_tracks",
    "posed_by_head_tag",
]
