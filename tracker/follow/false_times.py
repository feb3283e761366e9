"""Pictures under a false time, by how the head moves.

Frames that repeat the picture before them under a new timestamp make it stutter: re-encoding makes repeated
pictures differ, a head that stands still for a frame in mid-swing does not. A picture at another frame's time
shows it where its neighbours in time say it is not.
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
REACH_FRAMES = 5
"""Chosen by us: as many frames on either side say where the head should be."""

LEAST_ERROR_PX = 0.25
NOISE_FACTOR = 6.0
"""Chosen by us: a place is off by more than a tag's usual noise, and by so many times this clip's."""

STEP_SHARE = 0.5
"""Chosen by us: a picture from a frame away is off by a whole step; an impact bends the way by a fifth."""

ROUNDS = 6
"""Chosen by us: rounds of reweighting, after which a parabola no longer heeds two wrong places in ten."""


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


def misplaced_frames(track: PixelTrack) -> IntArray:
    """Return the frames whose head lies off the way told by the frames around them, shape (m,).

    Suspects lie off the cubic through their four neighbours; each is then held against a parabola through
    more of them, which wrong places among them do not sway.
    """
    seen = np.flatnonzero(track.seen)
    if len(seen) < 2 * REACH_FRAMES + 1:
        return np.empty(0, dtype=np.int64)
    time_s, place = track.time_s[seen], track.centre_px[seen]
    step = np.linalg.norm(np.diff(place, axis=0), axis=1)
    error = np.linalg.norm(place[2:-2] - _between(time_s, place), axis=1)
    limit = LEAST_ERROR_PX + NOISE_FACTOR * float(np.median(error))
    suspects = (2 + np.flatnonzero(error > limit)).tolist()
    wrong = []
    for index in suspects:
        first, last = max(index - REACH_FRAMES, 0), min(index + REACH_FRAMES + 1, len(seen))
        others = np.delete(np.arange(first, last), index - first)
        usual_step = float(np.median(step[first : last - 1]))
        off = np.linalg.norm(place[index] - _expected(time_s[others], place[others], float(time_s[index])))
        if off > limit + STEP_SHARE * usual_step:
            wrong.append(seen[index])
    return np.array(wrong, dtype=np.int64)


def _between(time_s: FloatArray, place: FloatArray) -> FloatArray:
    """Return the cubic through the four neighbours of every frame but the outer ones, shape (n - 4, 2)."""
    offsets = (0, 1, 3, 4)
    count = len(time_s) - 4
    when = time_s[2:-2]
    total = np.zeros((count, 2))
    for one in offsets:  # Lagrange's form
        at = time_s[one : one + count]
        weight = np.ones(count)
        for other in offsets:
            if other != one:
                there = time_s[other : other + count]
                weight *= (when - there) / (at - there)
        total += weight[:, None] * place[one : one + count]
    return total


def _expected(time_s: FloatArray, place: FloatArray, when_s: float) -> FloatArray:
    """Return the place on a parabola through others, by least absolute deviations, shape (2,)."""
    scale = float(np.abs(time_s - when_s).max())
    powers = np.vander((time_s - when_s) / scale, 3, increasing=True)
    weight = np.ones(len(time_s))
    for _ in range(ROUNDS):
        curve, *_ = np.linalg.lstsq(powers * weight[:, None], place * weight[:, None], rcond=None)
        error = np.linalg.norm(place - powers @ curve, axis=1)
        weight = 1 / np.sqrt(np.maximum(error, 0.02))
    return np.asarray(curve[0])
