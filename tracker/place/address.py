"""Which way the target lies, and in which frames the head rests at address."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import BoolArray, FloatArray
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.follow.pixel_track import PixelTrack

REST_WINDOW_S = 0.08
REST_SPEED_MPS = 0.03
"""Chosen by us: slower than this over the window is rest at address. Stricter than `finding.MOVING_MPS`, from
which on a head swings: a slow drift taken for rest would shift the tag's place at address."""

BALL_AHEAD_M = 0.12
"""Chosen by us: from the tag to the ball's middle at address it is 4 to 10 cm."""

ADDRESS_REACH_S = 6.0
"""Chosen by us: the address belonging to a stroke ends at most this long before its fastest moment."""


def forward_sign(
    pixel: PixelTrack, level_x: FloatArray, balls: tuple[FollowedBall, ...], ways: list[FloatArray]
) -> float:
    """Return +1 when the target lies along the sheet's arrow, -1 when against it.

    The target is where the ball goes; if none went, the side of the head on which one lies; with no ball, the
    way of the fastest motion: the forward swing takes half the time of the backswing.
    """
    votes = 0.0
    for ball, way in zip(balls, ways, strict=True):
        resting = ball.at_rest
        if ball.departed and resting.any() and (~resting).any():
            votes += np.sign(way[-1, 0] - np.median(way[resting, 0]))
    if votes == 0:
        votes = _side_of_ball(pixel, level_x, balls, ways)
    if votes == 0:
        speed = speed_of(pixel.time_s, level_x, pixel.seen)
        if not np.any(np.isfinite(speed)):
            raise CannotMeasure(
                "The head tag is seen in too few frames to tell how it moves.",
                fix="Film in brighter light, with the whole stroke in the picture.",
            )
        votes = float(speed[np.nanargmax(np.abs(speed))])
    return 1.0 if votes >= 0 else -1.0


def address_frames(pixel: PixelTrack, level_x: FloatArray, *, known_ball: bool) -> BoolArray:
    """Return the frames in which the head rests at address, shape (n,); `level_x` toward the target."""
    speed = speed_of(pixel.time_s, level_x, pixel.seen)
    if not np.any(np.isfinite(speed)):
        raise CannotMeasure(
            "The head is seen in too few frames to find a stroke.",
            fix="Film in brighter light, with the whole stroke in the picture.",
        )
    fastest = int(np.nanargmax(speed))
    passed_m = -0.05 if known_ball else level_x[fastest]
    slow = np.abs(speed) < REST_SPEED_MPS
    before = (pixel.time_s < pixel.time_s[fastest]) & (pixel.time_s > pixel.time_s[fastest] - ADDRESS_REACH_S)
    best, best_distance = None, np.inf
    for run in _runs(slow & before & pixel.seen):
        lasts = pixel.time_s[run[-1]] - pixel.time_s[run[0]]
        distance = abs(float(np.median(level_x[run])) - passed_m)
        if lasts >= REST_WINDOW_S and distance < best_distance:
            best, best_distance = run, distance
    frames = np.zeros(len(speed), dtype=np.bool_)
    if best is None:
        # Never at rest: the head passes its address height where it meets the ball.
        frames[fastest] = True
    else:
        frames[best] = True
    return frames


def _side_of_ball(
    pixel: PixelTrack, level_x: FloatArray, balls: tuple[FollowedBall, ...], ways: list[FloatArray]
) -> float:
    """Return on which side of the head a ball lies when the head is nearest to it, 0 with no ball near."""
    sides = 0.0
    for ball, way in zip(balls, ways, strict=True):
        if not ball.at_rest.any():
            continue
        apart = np.median(way[ball.at_rest], axis=0)[0] - level_x
        still = np.abs(speed_of(pixel.time_s, level_x, pixel.seen)) < REST_SPEED_MPS
        if still.any():
            nearest = float(apart[still][np.argmin(np.abs(apart[still]))])
            sides += np.sign(nearest) if abs(nearest) < BALL_AHEAD_M else 0.0
    return sides


def speed_of(time_s: FloatArray, value: FloatArray, seen: BoolArray) -> FloatArray:
    """Return the mean slope over about 30 ms around each frame; NaN where it cannot be had."""
    slope = np.full(len(time_s), np.nan)
    good = np.flatnonzero(seen & np.isfinite(value))
    if len(good) < 3:
        return slope
    step = max(round(0.015 / float(np.median(np.diff(time_s)))), 1)
    if len(good) <= 2 * step:
        return slope
    late, early = good[2 * step :], good[: -2 * step]
    slope[good[step:-step]] = (value[late] - value[early]) / (time_s[late] - time_s[early])
    return slope


def _runs(flags: BoolArray) -> list[NDArray[np.intp]]:
    """Return the index runs in which a flag holds."""
    index = np.flatnonzero(flags)
    return [run for run in np.split(index, np.flatnonzero(np.diff(index) > 1) + 1) if len(run)]
