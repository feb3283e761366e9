"""The four frames of a stroke's picture, cut out around the head."""

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
CUT_M = 0.30
"""Chosen by us: width of the cut, three mallet heads, so that ball and shaft stay in sight."""
ALBUM_ROWS = 720
"""Chosen by us: rows of the pictures cut from. Where a clip shows 1.1 m across, the cut then has 350 of their
columns, and prints 272."""
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
        moment: _cut_out(picture, small, stroke, time_s)
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


def _cut_out(picture: RgbFrame, path: HeadPath, stroke: StrokeMeasures, time_s: float) -> NDArray[np.uint8]:
    """Return the part of a frame around the head in grey; its size is one for all moments of a stroke."""
    height, width = picture.shape[:2]
    first_s, last_s = stroke.profile.t_s[[0, -1]]
    seen = np.isfinite(path.u_px + path.v_px)
    during = (path.time_s >= first_s) & (path.time_s <= last_s) & seen
    if not during.any():
        cut = picture
    else:
        u, v = path.u_px[during], path.v_px[during]
        px_per_m = np.hypot(np.ptp(u), np.ptp(v)) / np.ptp(stroke.profile.x_m)
        wide = min(CUT_M * px_per_m, width, ASPECT * height)
        (left, right), (upper, lower) = (
            _span_within(float(np.interp(time_s, path.time_s[seen], along[seen])), size, limit)
            for along, size, limit in ((path.u_px, wide, width), (path.v_px, wide / ASPECT, height))
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
