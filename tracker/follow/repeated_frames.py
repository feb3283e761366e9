"""Frames that repeat the picture before them under a new timestamp: told by how the head stutters.

Re-encoding makes repeated pictures differ; a head that stands still for a frame in mid-swing does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pennyfall.kinematics.values import BoolArray, FloatArray, IntArray
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack

LEAST_STEP_PX = 0.25
"""Chosen by us: four times the scatter of a tag's place; a slower head errs little by a repeated picture."""

STILL_SHARE = 0.15
"""Chosen by us: a step this much shorter than those around it is a stutter: a head cannot stop for a
frame and go on."""

RHYTHMS = (2, 3, 4, 5)
LEAST_BEATS = 8
SURE_SHARE = 0.9
"""Chosen by us: repeats come by a rhythm when nearly every beat at which the head moves is one."""

MOST_REPEATS = 4
"""Chosen by us: 24 frames/s shown at 120 repeat a picture four times; a longer stop is a rest."""


def repeated_frames(track: PixelTrack) -> IntArray:
    """Return the frames in which a moving head stands where it stood in the frame before, shape (m,)."""
    centre = track.centre_px
    step = np.linalg.norm(np.diff(centre, axis=0, prepend=centre[:1]), axis=1)  # NaN beside a gap
    found: list[int] = []
    index = 1
    while index < len(step) - 1:
        before = step[index - 1]
        if not (before > LEAST_STEP_PX and step[index] < STILL_SHARE * before):
            index += 1
            continue
        end = index
        while end < len(step) and step[end] < STILL_SHARE * before:
            end += 1
        after = step[end] if end < len(step) else np.nan
        if end - index <= MOST_REPEATS and after > LEAST_STEP_PX:
            inside = step[index:end]
            if inside.max() < STILL_SHARE * min(before, after) and _goes_on(centre, index, end):
                found += range(index, end)
        index = end
    return np.array(sorted({*found, *_phases(step, np.array(found, dtype=np.int64))}), dtype=np.int64)


def _phases(step: FloatArray, found: IntArray) -> Iterator[int]:
    """Yield the frames that repeat by a fixed rhythm, as in a clip blown up to a multiple of its rate.

    Where the head hardly moves the rhythm goes on, though no stutter is seen.
    """
    around = np.fmax(np.roll(step, 1), np.fmax(step, np.roll(step, -1)))
    moving = np.flatnonzero(around > 2 * LEAST_STEP_PX)
    for rhythm in RHYTHMS:
        for phase in range(rhythm):
            here = moving[moving % rhythm == phase]
            if len(here) >= LEAST_BEATS and np.mean(np.isin(here, found)) > SURE_SHARE:
                yield from range(phase, len(step), rhythm)


def without(followed: Followed, frames: IntArray) -> Followed:
    """Return what was followed, with head and ball not seen in these frames."""
    if len(frames) == 0:
        return followed
    head = followed.head
    gone: BoolArray = np.zeros(len(head.time_s), dtype=bool)
    gone[frames] = True
    centre = head.centre_px.copy()
    centre[gone] = np.nan
    return replace(
        followed,
        head=replace(head, seen=head.seen & ~gone, centre_px=centre),
        balls=tuple(_kept(ball, ~np.isin(ball.frame, frames)) for ball in followed.balls),
    )


def _goes_on(centre: np.ndarray, index: int, end: int) -> bool:
    """Return whether the head moves the same way after the stop as before it: at a turn it may stop."""
    before = centre[index - 1] - centre[index - 2] if index >= 2 else np.full(2, np.nan)
    after = centre[end] - centre[end - 1]
    return bool(before @ after > 0)


def _kept(ball: FollowedBall, keep: BoolArray) -> FollowedBall:
    return replace(
        ball,
        time_s=ball.time_s[keep],
        at_rest=ball.at_rest[keep],
        sd_x_m=ball.sd_x_m[keep],
        frame=ball.frame[keep],
        centre_px=ball.centre_px[keep],
        radius_px=ball.radius_px[keep],
    )
