"""A head tag stuck on a quarter or half turn round, read as if it lay right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.calibration.tag_height import TYPICAL_HEIGHT, level_turn
from pennyfall.kinematics.values import BoolArray
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.place.cameras import FrameCameras

QUARTER_RAD = np.pi / 2


def squared_to_line(pixel: PixelTrack, cameras: FrameCameras, address: BoolArray) -> tuple[PixelTrack, int]:
    """Return the track with the tag's front along the target line, and how many quarter turns it was off.

    The head's tilt is the rise of the tag's front: of a tag that was stuck on the wrong way round, the front
    would be the head's heel or back. Upside down the tilt came out with the wrong sign, and the coin left
    elsewhere.
    """
    told = np.flatnonzero(address & np.isfinite(pixel.jacobian[:, 0, 0]))
    if not len(told):
        return pixel, 0
    frame = int(told[len(told) // 2])
    turn = level_turn(cameras.at(frame), pixel.centre_px[frame], pixel.jacobian[frame], TYPICAL_HEIGHT.value)
    quarters = round(turn / QUARTER_RAD)
    if quarters == 0:
        return pixel, 0
    c, s = np.cos(quarters * QUARTER_RAD), np.sin(quarters * QUARTER_RAD)
    back = np.array([[c, s], [-s, c]])
    return replace(pixel, jacobian=pixel.jacobian @ back), abs(quarters)
