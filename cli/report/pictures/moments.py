"""The four frames of a stroke's picture, cut out around the head's path."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.cli.report.film.overlay import HeadPath
from pennyfall.cli.report.pictures.stroke import Moment
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.clip.frame import RgbFrame

ADDRESS_BEFORE_TAKEAWAY_S = 0.05
"""Chosen by us: well before the softest of the events, and the head still rests."""
NEAR_S = 0.05
"""Chosen by us: farther from it a picture shows another moment."""
ROOM = 1.4
"""Chosen by us: width of the cut in lengths of the head's path, so that ball and feet stay in sight."""
ASPECT = 4 / 3
SHOWN_WIDTH_PX = 480
"""Chosen by us: 1.5 times what the picture prints, so that it stays sharp and the file small."""

MomentFrames = dict[Moment, NDArray[np.uint8]]


def moment_frames(album: Album, stroke: StrokeMeasures, path: HeadPath) -> MomentFrames:
    """Return the pictures at address, top, impact and finish of a stroke, in grey.

    A moment that was not measured, or that the album has no picture near, has none.

    Parameters
    ----------
    album : Album
        The clip's pictures.
    stroke : StrokeMeasures
        The measured stroke.
    path : HeadPath
        Where the head is in the clip's own picture.

    """
    small = path.scaled(*album.scale)
    return {
        moment: _cut_out(picture, small, stroke)
        for moment, time_s in _moments(stroke).items()
        if (picture := album.nearest(time_s, within_s=NEAR_S)) is not None
    }


def _moments(stroke: StrokeMeasures) -> dict[Moment, float]:
    events: dict[Moment, Estimate] = {
        "address": stroke.takeaway_s,
        "top": stroke.top_s,
        "impact": stroke.impact_s,
        "finish": stroke.finish_s,
    }
    times_s = {moment: event.value for moment, event in events.items() if event.known}
    if "address" in times_s:
        times_s["address"] -= ADDRESS_BEFORE_TAKEAWAY_S
    return times_s


def _cut_out(picture: RgbFrame, path: HeadPath, stroke: StrokeMeasures) -> NDArray[np.uint8]:
    """Return the part of a frame around the stroke's path in grey, the same part for all of its moments."""
    height, width = picture.shape[:2]
    first_s, last_s = stroke.profile.t_s[0], stroke.profile.t_s[-1]
    during = (path.time_s >= first_s) & (path.time_s <= last_s) & np.isfinite(path.u_px + path.v_px)
    if not during.any():
        cut = picture
    else:
        u, v = path.u_px[during], path.v_px[during]
        wide = min(ROOM * np.ptp(u), width, ASPECT * height)
        (left, right), (upper, lower) = (
            _span_within(0.5 * (along.min() + along.max()), size, limit)
            for along, size, limit in ((u, wide, width), (v, wide / ASPECT, height))
        )
        cut = picture[upper:lower, left:right]
    shrink = min(SHOWN_WIDTH_PX / cut.shape[1], 1.0)
    size = (max(round(shrink * cut.shape[1]), 1), max(round(shrink * cut.shape[0]), 1))
    small = cv2.resize(cut, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def _span_within(middle: float, size: float, limit: int) -> tuple[int, int]:
    """Return a span of `size` around `middle`, shifted so that it lies within 0 and `limit`."""
    low = int(np.clip(round(middle - size / 2), 0, max(limit - round(size), 0)))
    return low, min(low + max(round(size), 1), limit)
