"""Whether the head left the picture during its stroke."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.tracker.follow.pixel_track import PixelTrack

LOST_S = 0.03
"""Chosen by us: a shorter gap is a blurred frame, not a head out of the picture."""

NEAR_SHARE = 0.06
"""Chosen by us: a head last seen within this share of the picture's longer side of its edge, and moving to
it, is beyond it when it is not found: a tag is half as wide, and moves as far between two frames."""


@dataclass(frozen=True, slots=True)
class Leaving:
    """Where and when the head left."""

    side: str
    """'left', 'right', 'upper' or 'lower'."""
    time_s: float
    """When it was last seen [s]."""


def left_the_picture(track: PixelTrack, picture_size: tuple[int, int]) -> Leaving | None:
    """Return where the head first left the picture, None when it never did."""
    near = NEAR_SHARE * max(picture_size)
    width, height = picture_size
    seen = np.flatnonzero(track.seen)
    following = np.append(seen, len(track.seen))[2:]
    until_s = track.time_s[np.minimum(following, len(track.seen) - 1)]
    lost = (following > seen[1:] + 1) & (until_s - track.time_s[seen[1:]] >= LOST_S)
    for before, last in zip(seen[:-1][lost], seen[1:][lost], strict=True):
        (u, v), (du, dv) = track.centre_px[last], track.centre_px[last] - track.centre_px[before]
        sides = {"left": (u, -du), "right": (width - u, du), "upper": (v, -dv), "lower": (height - v, dv)}
        for side, (room, toward) in sides.items():
            if room < near and toward > 0:
                return Leaving(side, float(track.time_s[last]))
    return None
