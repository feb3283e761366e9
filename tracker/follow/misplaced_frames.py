"""Pictures at another frame's time: told by a head that is not where its neighbours in time say."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray, IntArray
from pennyfall.tracker.follow.pixel_track import PixelTrack

REACH_FRAMES = 5
"""Chosen by us: as many frames on either side say where the head should be."""

LEAST_ERROR_PX = 0.25
NOISE_FACTOR = 6.0
"""Chosen by us: a place is off by more than a tag's usual noise, and by so many times this clip's."""

STEP_SHARE = 0.5
"""Chosen by us: a picture from a frame away is off by a whole step; an impact bends the way by a fifth."""

ROUNDS = 6
"""Chosen by us: rounds of reweighting, after which a parabola no longer heeds two wrong places in ten."""


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
