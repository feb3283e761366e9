"""How a student's stroke grows with the length of the putt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import Green, roll_out
from pennyfall.kinematics.values import Estimate, FloatArray, Profile, StrokeMeasures

PUBLISHED_AMPLITUDE_POWER = Estimate(0.5, 0.05)
"""Amplitude grows with impact speed at constant time (Grober, arXiv:0903.1762, seen second-hand), and speed
with the root of the length; spread chosen by us."""
PUBLISHED_TIME_POWER = Estimate(0.0, 0.05)
"""Constant time in the same model. Spread chosen by us, since every golfer measured changed timing with
length (Front Psychol 2014, 10.3389/fpsyg.2013.01005, abstract)."""
LEAST_LENGTH_RATIO = 1.3
"""Chosen by us: over a smaller range of lengths a fitted power says more about scatter than about scaling."""
LEAST_STROKES_TO_FIT = 4
"""Chosen by us: two strokes at two lengths each leave something to judge the scatter by."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Putt:
    """One measured stroke with the length of its putt."""

    stroke: StrokeMeasures
    length_m: float
    """Stated, or the roll expected from the ball's launch speed [m]."""

    @property
    def forward_s(self) -> float:
        """Time from the top to impact [s]."""
        return self.stroke.forward_swing_s.value


@dataclass(frozen=True, kw_only=True, slots=True)
class Scaling:
    """Powers of the putt's length with which amplitude and time grow: (L / L0) ** power."""

    amplitude_power: Estimate
    time_power: Estimate
    source: Literal["fitted", "published"]
    lacking: Literal["length", "strokes"] | None = None
    """Why nothing was fitted: no second length that is far enough from the first, or too few strokes."""


def putt(stroke: StrokeMeasures, green: Green, stated_length_m: float | None = None) -> Putt:
    """Return the stroke with its putt's length, stated or as far as its ball rolls.

    Raises
    ------
    CannotMeasure
        When the stroke has no top, impact or backswing, or neither a stated length nor a ball speed.

    """
    needed = (stroke.top_s, stroke.impact_s, stroke.forward_swing_s, stroke.backswing_length_m)
    if not all(each.known for each in needed):
        raise CannotMeasure(
            f"Stroke {stroke.number} has no forward swing that was measured from top to impact.",
            fix="Leave it out, or film it again from before the takeaway until after impact.",
        )
    if stated_length_m is not None:
        return Putt(stroke=stroke, length_m=stated_length_m)
    if not stroke.ball_speed_mps.known:
        raise CannotMeasure(
            f"How long the putt of stroke {stroke.number} was is unknown: no ball speed was measured.",
            fix="State it, such as 10ft or 3m, once for each file.",
            setting="length",
        )
    return Putt(stroke=stroke, length_m=roll_out(stroke.ball_speed_mps.value, green).distance_m)


def fit_scaling(putts: Sequence[Putt]) -> Scaling:
    """Fit how amplitude and forward-swing time grow with length; published powers where that cannot be."""
    length_m = np.array([each.length_m for each in putts])
    near = length_m.max() < LEAST_LENGTH_RATIO * length_m.min()
    if near or len(putts) < LEAST_STROKES_TO_FIT:
        return Scaling(
            amplitude_power=PUBLISHED_AMPLITUDE_POWER,
            time_power=PUBLISHED_TIME_POWER,
            source="published",
            lacking="length" if near else "strokes",
        )
    amplitude_m = np.array([each.stroke.backswing_length_m.value for each in putts])
    forward_s = np.array([each.forward_s for each in putts])
    return Scaling(
        amplitude_power=_power(length_m, amplitude_m),
        time_power=_power(length_m, forward_s),
        source="fitted",
    )


def _power(length_m: FloatArray, grown: FloatArray) -> Estimate:
    """Return the power by least squares in the logarithms, with its standard error."""
    x, y = np.log(length_m) - np.log(length_m).mean(), np.log(grown) - np.log(grown).mean()
    spread = float(x @ x)
    power = float(x @ y) / spread
    residual = y - power * x
    return Estimate(power, math.sqrt(float(residual @ residual) / (len(x) - 2) / spread))


def grown_profile(profile: Profile, *, amplitude: float, time: float) -> Profile:
    """Return the stroke with the same shape, `amplitude` times as long in `time` times the time.

    The tilt grows with the amplitude, as on an arc about the same hub.
    """
    start_m = profile.x_m[0]
    return Profile(
        t_s=profile.t_s * time,
        x_m=start_m + (profile.x_m - start_m) * amplitude,
        v_mps=profile.v_mps * amplitude / time,
        a_mps2=profile.a_mps2 * amplitude / time**2,
        a_sd_mps2=profile.a_sd_mps2 * amplitude / time**2,
        tilt_rad=profile.tilt_rad * amplitude,
    )
