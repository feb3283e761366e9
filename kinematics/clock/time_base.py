"""A clip's time base: from the file's timestamps to true seconds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pennyfall.kinematics.clock.speed_ramp import RateSteps, rate_steps
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, freeze_arrays

TimeSource = Literal["timestamps", "stated", "metadata"]

SLOW_MOTION_LEAST_FACTOR = 1.5
"""Chosen by us: a capture rate nearer than this to the played rate is rounding, not slow motion."""

SAME_RATE = 0.02
"""Chosen by us: a stated rate this near to the played one is the same by its round name (239.76, 240)."""

COARSE_TICK = 0.02
"""Chosen by us: rounding below this share of a frame interval is below the head's own noise."""

ROUNDING = 0.75
"""A rounded time is half a unit off; as much again in part for the curve fitted to it."""

COUNTED_ANEW = 3
"""Chosen by us: the frames of an interval are counted by the usual one, and that by them. At 240 frames/s
on a grid of 1/600 s two and three ticks take turns: a first count may err where many frames are lost."""

RAMP_LEAST_RATIO = 3.0
"""Chosen by us: a camera short of light halves its rate; slow motion plays four or eight times slower.
Between the two, the file's own times are kept and the step is reported. Without a known capture rate a ramp
shows by the head's speed (`speed_jump`), and the clip is refused; without a step in the file, by its pull
(`pulled_too_hard`)."""

MOST_LOST_IN_A_ROW = 4
"""Chosen by us: a longer interval says nothing of the usual one."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TimeBase:
    """What each timestamp of a clip means in true seconds."""

    stamps_s: FloatArray
    """The container's timestamps in order of presentation, strictly increasing, shape (n,) [s]."""
    time_s: FloatArray
    """True time of each from the first, shape (n,) [s]."""
    slow_motion_factor: float
    """Container time over true time; the mean over the clip where it has a speed ramp."""
    source: TimeSource
    """Where the factor comes from."""
    steps: RateSteps | None
    """The runs at several rates, where the interval steps."""
    ramp: bool
    """Whether those steps were taken as a speed ramp, so that time is frames captured over capture rate."""
    words: str
    """Where the time base comes from, in one sentence."""
    capture_rate_hz: float = float("nan")
    """Rate that times were derived from; NaN where they are the file's own [Hz]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def retimed(self) -> bool:
        """Whether true times are the file's over one factor of slow motion, false where it plays normally."""
        return self.slow_motion_factor >= RAMP_LEAST_RATIO and not self.ramp

    def at(self, stamp_s: float) -> float:
        """Return the true time of a timestamp [s]."""
        index = int(self.stamps_s.searchsorted(stamp_s))
        if index < len(self.stamps_s) and self.stamps_s[index] == stamp_s:
            return float(self.time_s[index])
        return float(np.interp(stamp_s, self.stamps_s, self.time_s))


def time_base(
    stamps_s: FloatArray,
    *,
    recorded_at_hz: float | None = None,
    capture_rate_hz: float = float("nan"),
    tick_s: float = 0.0,
) -> TimeBase:
    """Return the time base of a clip.

    Parameters
    ----------
    stamps_s : FloatArray
        Timestamps of the frames in order of presentation, strictly increasing, shape (n,) [s].
    recorded_at_hz : float, optional
        True rate as stated by the coach [Hz].
    capture_rate_hz : float
        Rate at which the phone noted it recorded; NaN where it did not [Hz].
    tick_s : float
        What the timestamps are multiples of, to which they are rounded [s].

    Raises
    ------
    CannotMeasure
        When the stated rate is lower than the rate at which the clip plays.

    """
    intervals = np.diff(stamps_s)
    if len(intervals) == 0:
        return _plain(stamps_s, "Times are the file's own timestamps.", None)
    given_s, stamps_s = stamps_s, unrounded(stamps_s, tick_s)
    base = _time_base(stamps_s, recorded_at_hz=recorded_at_hz, capture_rate_hz=capture_rate_hz)
    if stamps_s is given_s:
        return base
    words = f"{base.words} They are rounded to {1e3 * tick_s:.3g} ms in the file and were put on their grid."
    return replace(base, stamps_s=given_s, words=words)


def _time_base(stamps_s: FloatArray, *, recorded_at_hz: float | None, capture_rate_hz: float) -> TimeBase:
    intervals = np.diff(stamps_s)
    steps = rate_steps(intervals)
    stated = recorded_at_hz is not None
    capture_hz = recorded_at_hz if recorded_at_hz is not None else capture_rate_hz
    if not (np.isfinite(capture_hz) and capture_hz > 0):
        return _plain(stamps_s, "Times are the file's own timestamps.", steps)
    source: TimeSource = "stated" if stated else "metadata"
    who = "as stated" if stated else "by the phone's own note in the file"
    fastest_hz = 1.0 / usual_interval(intervals) if steps is None else 1.0 / float(steps.interval_s.min())
    factor = capture_hz / fastest_hz
    if stated and factor < 1 - SAME_RATE:
        raise CannotMeasure(
            f"The clip plays {fastest_hz:.4g} frames/s, so it was not recorded at {capture_hz:g}.",
            fix="State the rate the camera was set to, or leave it out.",
            setting="recorded_at",
        )
    if steps is not None and _is_ramp(steps, factor):
        captured = np.concatenate([[0], np.cumsum(steps.frames_captured(intervals))])
        time_s = captured / capture_hz
        return TimeBase(
            stamps_s=stamps_s,
            time_s=time_s,
            slow_motion_factor=float((stamps_s[-1] - stamps_s[0]) / time_s[-1]),
            source=source,
            steps=steps,
            ramp=True,
            capture_rate_hz=capture_hz,
            words=f"The clip is a speed ramp: its frame interval steps between "
            f"{1e3 * steps.interval_s.min():.3g} and {1e3 * steps.interval_s.max():.3g} ms. Every frame was "
            f"taken as captured at {capture_hz:g} frames/s, {who}; times are frames over that rate.",
        )
    if abs(factor - 1) <= SAME_RATE or (not stated and factor < SLOW_MOTION_LEAST_FACTOR):
        plain = _plain(stamps_s, f"Times are the file's own timestamps, at the rate recorded {who}.", steps)
        return replace(plain, source="stated", capture_rate_hz=capture_hz) if stated else plain
    return TimeBase(
        stamps_s=stamps_s,
        time_s=(stamps_s - stamps_s[0]) / factor,
        slow_motion_factor=float(factor),
        source=source,
        steps=steps,
        ramp=False,
        capture_rate_hz=capture_hz,
        words=f"The clip was recorded at {capture_hz:g} frames/s, {who}, and plays {fastest_hz:.4g}: times "
        f"are the file's timestamps over {factor:.4g}.",
    )


def usual_interval(intervals_s: FloatArray) -> float:
    """Return the interval between frames that follow each other without a loss [s].

    The median says how many frames an interval spans; time over frames is then free of the timestamps'
    jitter, since neighbours share it with opposite signs.
    """
    median = float(np.median(intervals_s))
    frames = np.rint(intervals_s / median)
    near = (frames >= 1) & (frames <= MOST_LOST_IN_A_ROW)
    return float(intervals_s[near].sum() / frames[near].sum())


def unrounded(stamps_s: FloatArray, tick_s: float) -> FloatArray:
    """Return evenly spaced timestamps where the file's differ from such by no more than their rounding.

    Frames may be lost, and the spacing may drift, as a camera's clock does against the file's. Otherwise, and
    where the rounding is fine or the spacing whole ticks, the timestamps themselves are returned.
    """
    intervals = np.diff(stamps_s)
    usual_s = usual_interval(intervals)
    if tick_s < COARSE_TICK * usual_s:
        return stamps_s
    for _ in range(COUNTED_ANEW):
        spanned = np.rint(intervals / usual_s)
        usual_s = float(intervals.sum() / max(spanned.sum(), 1.0))
    if spanned.min() < 1:
        return stamps_s
    frame = np.concatenate([[0.0], np.cumsum(spanned)])
    for drift in (0, 1):
        even = np.polyval(np.polyfit(frame, stamps_s, 1 + drift), frame)
        off_s = np.abs(stamps_s - even).max()
        if off_s <= ROUNDING * tick_s:
            return stamps_s if off_s < COARSE_TICK * tick_s else even  # whole ticks apart: none is rounded
    return stamps_s


def _is_ramp(steps: RateSteps, factor: float) -> bool:
    """Return whether steps are a ramp: far apart, or none of them at the rate of life."""
    return steps.ratio >= RAMP_LEAST_RATIO or factor >= SLOW_MOTION_LEAST_FACTOR


def _plain(stamps_s: FloatArray, words: str, steps: RateSteps | None) -> TimeBase:
    if steps is not None:
        words += (
            f" The frame interval steps between {1e3 * steps.interval_s.min():.3g} and "
            f"{1e3 * steps.interval_s.max():.3g} ms, taken as the camera's own."
        )
    return TimeBase(
        stamps_s=stamps_s,
        time_s=stamps_s - stamps_s[:1],
        slow_motion_factor=1.0,
        source="timestamps",
        steps=steps,
        ramp=False,
        words=words,
    )
