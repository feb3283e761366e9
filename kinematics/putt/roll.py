"""How far the ball rolls: first sliding, then rolling, on a green of stated speed and grade."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import BALL_RADIUS_M, STANDARD_GRAVITY_MPS2, Estimate, FloatArray

FOOT_M = 0.3048
HOLE_RADIUS_M = 0.054
"""Half of 4.25 in (Rules of Golf, definition of hole)."""
STIMPMETER_RELEASE_MPS = 1.8288
"""Speed at which the ball leaves the bar: 6.00 ft/s (published figure, seen second-hand)."""
RELEASE_REL_SD = 0.02
"""Chosen by us: rolling down the bar without slip gives 3 to 4 % more than the published release speed."""
SLIDING_FRICTION = 0.25
"""That of a ball which slides over 15 to 20 % of its way (Cochran and Stobbs, 1968, seen second-hand) on a
green of 10 ft. No measured value was found: the spread below is theirs, and balls of our own scenes, drawn
with 0.40, slide less."""
SLIDING_REL_SD = 0.09
"""Between 15 and 20 % lie frictions of 0.21 to 0.30: taken as two standard deviations to either side."""
ROLLING_SHARE = 5 / 7
"""Share of the launch speed left when rolling starts; also the share of a slope's pull that slows a rolling
ball. Solid sphere, I = 2/5 m R^2."""
CAPTURE_CENTRE_MPS = (2 * HOLE_RADIUS_M - BALL_RADIUS_M) * math.sqrt(
    STANDARD_GRAVITY_MPS2 / (2 * BALL_RADIUS_M)
)
"""Fastest ball that falls one radius before it reaches the far rim, across the hole's centre: 1.31 m/s."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Green:
    """A putting surface.

    Raises
    ------
    CannotMeasure
        When the reading is not that of a green, or a ball would never stop on the grade.

    """

    stimp_m: float
    """Stimpmeter reading [m]."""
    grade: float = 0.0
    """Rise over run along the putt; positive uphill [-]."""

    def __post_init__(self) -> None:
        if not 1.0 <= self.stimp_m <= 5.5:  # 3 to 18 ft, chosen by us: outside it is a slip of the unit
            raise CannotMeasure(
                f"A green speed of {self.stimp_m / FOOT_M:.1f} ft is not that of a green.",
                fix="Give the Stimpmeter reading in feet, usually between 7 and 14.",
            )
        if self.rolling_deceleration_mps2 <= 0:
            raise CannotMeasure(
                f"On a grade of {100 * self.grade:g} % at {self.stimp_m / FOOT_M:.1f} ft no ball stops.",
                fix="Check the grade (per cent, negative downhill) and the green speed.",
            )

    @property
    def angle_rad(self) -> float:
        """Slope angle [rad]."""
        return math.atan(self.grade)

    @property
    def rolling_deceleration_mps2(self) -> float:
        """Deceleration of the rolling ball [m/s^2]; on the flat v0^2 / (2 S), the Stimpmeter's definition."""
        flat = STIMPMETER_RELEASE_MPS**2 / (2 * self.stimp_m)
        pull = ROLLING_SHARE * STANDARD_GRAVITY_MPS2 * math.sin(self.angle_rad)
        return flat * math.cos(self.angle_rad) + pull


@dataclass(frozen=True, kw_only=True, slots=True)
class Roll:
    """How one ball runs out."""

    slide_m: float
    """Length of the slide [m]."""
    slide_s: float
    """Time of the slide [s]."""
    rolling_mps: float
    """Speed at which it starts to roll [m/s]."""
    distance_m: float
    """From the start to rest [m]."""


def roll_out(launch_mps: float, green: Green) -> Roll:
    """Return how a ball launched without spin runs out.

    Parameters
    ----------
    launch_mps : float
        Speed just after impact [m/s].
    green : Green
        Its speed and grade.

    Notes
    -----
    Sliding friction m slows the ball by m g cos(b) + g sin(b) and spins it up by 5 m g cos(b) / (2 R) until
    it rolls, after v0 / (7/2 m g cos(b) + g sin(b)). On the flat: for 2 v0 / (7 m g), over
    12 v0^2 / (49 m g), with 5/7 of the speed left (textbook).

    """
    grip = SLIDING_FRICTION * STANDARD_GRAVITY_MPS2 * math.cos(green.angle_rad)
    pull = STANDARD_GRAVITY_MPS2 * math.sin(green.angle_rad)
    slide_s = launch_mps / (3.5 * grip + pull)
    rolling_mps = launch_mps - (grip + pull) * slide_s
    slide_m = (launch_mps + rolling_mps) / 2 * slide_s
    return Roll(
        slide_m=slide_m,
        slide_s=slide_s,
        rolling_mps=rolling_mps,
        distance_m=slide_m + rolling_mps**2 / (2 * green.rolling_deceleration_mps2),
    )


def roll_distance(launch_mps: Estimate, green: Green) -> Estimate:
    """Return the expected roll [m]; its spread is that of launch, of the bar's release and of the slide."""
    roll = roll_out(launch_mps.value, green)
    rolled_m = roll.distance_m - roll.slide_m
    from_speed_m = 2 * roll.distance_m * launch_mps.sd / launch_mps.value  # every length grows with v0^2
    from_green_m = 2 * RELEASE_REL_SD * rolled_m, SLIDING_REL_SD * roll.slide_m
    return Estimate(roll.distance_m, math.hypot(from_speed_m, *from_green_m))


def launch_to_stop_at(distance_m: float, green: Green) -> float:
    """Return the launch speed that stops the ball at a distance [m/s]."""
    return math.sqrt(distance_m / roll_out(1.0, green).distance_m)


def speed_after(launch_mps: float, distance_m: float, green: Green) -> float:
    """Return the ball's speed at a distance from its start [m/s]; NaN where it does not get there."""
    roll = roll_out(launch_mps, green)
    if distance_m > roll.distance_m:
        return math.nan
    if distance_m >= roll.slide_m:
        return math.sqrt(2 * green.rolling_deceleration_mps2 * (roll.distance_m - distance_m))
    slowing = (launch_mps - roll.rolling_mps) / roll.slide_s
    return math.sqrt(launch_mps**2 - 2 * slowing * distance_m)


def past_the_hole(launch_mps: FloatArray, hole_m: float, green: Green) -> FloatArray:
    """Return how far past the hole (short: negative) each ball would stop if the hole were covered [m]."""
    return np.asarray(launch_mps) ** 2 * roll_out(1.0, green).distance_m - hole_m
