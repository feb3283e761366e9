"""The four frames of a stroke's picture, cut out around the head's path."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.cli.report.film.overlay import HeadPath
from pennyfall.cli.report.pictures.stroke import Moment
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from pennyfall.tracker.clip.frame import Frame

ADDRESS_BEFORE_TAKEAWAY_S = 0.05
"""Chosen by us: well before the softest of the events, and the head still rests."""
ROOM = 1.4
"""Chosen by us: width of the cut in lengths of the head's path, so that ball and feet stay in sight."""
ASPECT = 4 / 3
SHOWN_WIDTH_PX = 480
"""Chosen by us: 1.5 times what the picture prints, so that it stays sharp and the file small."""

MomentFrames = dict[Moment, NDArray[np.uint8]]


def moment_frames(
    frames: Iterable[Frame], strokes: Sequence[StrokeMeasures], path: HeadPath
) -> list[MomentFrames]:
    """Return the frames at address, top, impact and finish of each stroke, in one pass over the clip.

    A moment that was not measured, or that the clip does not reach, has no frame.

    Parameters
    ----------
    frames : iterable of Frame
        The clip's frames from the first on, as `tracker.clip.Clip.frames` yields them.
    strokes : sequence of StrokeMeasures
        The measured strokes.
    path : HeadPath
        Where the head is in the picture, one sample a frame.

    """
    wanted: dict[int, list[tuple[int, Moment]]] = {}
    for number, stroke in enumerate(strokes):
        for moment, time_s in _moments(stroke).items():
            nearest = int(np.argmin(np.abs(path.time_s - time_s)))
            wanted.setdefault(nearest, []).append((number, moment))
    found: list[MomentFrames] = [{} for _ in strokes]
    last = max(wanted, default=-1)
    for frame in frames:
        if frame.index > last:
            break
        for number, moment in wanted.get(frame.index, []):
            found[number][moment] = _cut_out(frame.luma, path, strokes[number])
    return found


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


def _cut_out(luma: NDArray[np.uint8], path: HeadPath, stroke: StrokeMeasures) -> NDArray[np.uint8]:
    """Return the part of a frame around the stroke's path, the same part for all of its moments."""
    height, width = luma.shape
    first_s, last_s = stroke.profile.t_s[0], stroke.profile.t_s[-1]
    during = (path.time_s >= first_s) & (path.time_s <= last_s) & np.isfinite(path.u_px + path.v_px)
    if not during.any():
        cut = luma
    else:
        u, v = path.u_px[during], path.v_px[during]
        wide = min(ROOM * np.ptp(u), width, ASPECT * height)
        (left, right), (upper, lower) = (
            _span_within(0.5 * (along.min() + along.max()), size, limit)
            for along, size, limit in ((u, wide, width), (v, wide / ASPECT, height))
        )
        cut = luma[upper:lower, left:right]
    shrink = min(SHOWN_WIDTH_PX / cut.shape[1], 1.0)
    size = (max(round(shrink * cut.shape[1]), 1), max(round(shrink * cut.shape[0]), 1))
    return np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _span_within(middle: float, size: float, limit: int) -> tuple[int, int]:
    """Return a span of `size` around `middle`, shifted so that it lies within 0 and `limit`."""
    low = int(np.clip(round(middle - size / 2), 0, max(limit - round(size), 0)))
    return low, min(low + max(round(size), 1), limit)
