"""Speed ramps: clips whose frame interval steps between a few rates, such as normal, slow, normal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import FloatArray, IntArray, freeze_arrays

LEAST_RUN_FRAMES = 8
"""Chosen by us: fewer frames in a row at one interval are jitter, or the passage between two rates."""

FILTER_FRAMES = 5
"""Chosen by us: a median over this many intervals forgets one or two lost frames in a row."""

STEP = 1.35
"""Chosen by us: intervals that differ by more belong to two rates; jitter of phones stays within 10 %."""

NEAR = 1.2
"""Chosen by us: an interval this near to its run's median is one of the run's own."""

LEAST_IN_RUNS = 0.8
"""Chosen by us: the share of all intervals that lie in runs, and of a run's intervals near its median. Frames
at arbitrary times fail both."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RateSteps:
    """Runs of frames at one interval each, where a clip has at least two such intervals."""

    first: IntArray
    """First interval of each run, shape (r,); interval i lies between frames i and i + 1."""
    last: IntArray
    """Last interval of each run, shape (r,)."""
    interval_s: FloatArray
    """Median interval of each run, shape (r,) [s]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def ratio(self) -> float:
        """Longest over shortest interval."""
        return float(self.interval_s.max() / self.interval_s.min())

    def frames_captured(self, intervals_s: FloatArray) -> IntArray:
        """Return how many captured frames each interval spans: one, and more where frames were lost."""
        count = np.ones(len(intervals_s), dtype=np.int64)
        for first, last, usual_s in zip(self.first, self.last, self.interval_s, strict=True):
            inside = slice(first, last + 1)
            count[inside] = np.maximum(np.rint(intervals_s[inside] / usual_s), 1)
        return count


def rate_steps(intervals_s: FloatArray) -> RateSteps | None:
    """Return the runs of a clip whose frame interval steps, or None where it has one rate, or none at all.

    Parameters
    ----------
    intervals_s : FloatArray
        Time from each frame to the next, positive, shape (n,) [s].

    """
    if len(intervals_s) < 2 * LEAST_RUN_FRAMES:
        return None
    half = FILTER_FRAMES // 2
    padded = np.pad(intervals_s, half, mode="edge")
    smooth = np.log(np.median(np.lib.stride_tricks.sliding_window_view(padded, FILTER_FRAMES), axis=1))
    starts = np.concatenate([[0], np.flatnonzero(np.abs(np.diff(smooth)) > np.log(STEP) / 2) + 1])
    ends = np.concatenate([starts[1:] - 1, [len(smooth) - 1]])
    runs = [
        (first, last, usual_s)
        for first, last in zip(starts, ends, strict=True)
        if last - first + 1 >= LEAST_RUN_FRAMES
        and _steady(intervals_s[first : last + 1], usual_s := float(np.median(intervals_s[first : last + 1])))
    ]
    if sum(last - first + 1 for first, last, _ in runs) < LEAST_IN_RUNS * len(intervals_s):
        return None
    first, last, usual = (np.array(column) for column in zip(*runs, strict=True))
    if usual.max() / usual.min() < STEP:
        return None
    return RateSteps(first=first, last=last, interval_s=usual)


def _steady(intervals_s: FloatArray, usual_s: float) -> bool:
    near = np.abs(np.log(intervals_s / usual_s)) < np.log(NEAR)
    return bool(np.mean(near) >= LEAST_IN_RUNS)
