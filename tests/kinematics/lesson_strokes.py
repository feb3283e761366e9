"""Invented strokes of an invented student, for tests of the comparison: known means, known scatter."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import Estimate, Profile, StrokeMeasures

FRAME_S = 1 / 240


@dataclass(frozen=True, kw_only=True, slots=True)
class Habit:
    """Means of one condition; scatter between strokes and measurement error below."""

    backswing_s: float = 0.66
    forward_swing_s: float = 0.32
    peak_acceleration_mps2: float = 5.0
    peak_acceleration_share: float = 0.10
    acceleration_at_impact_mps2: float = 0.5
    backswing_length_m: float = 0.24


SCATTER = Habit(
    backswing_s=0.025,
    forward_swing_s=0.012,
    peak_acceleration_mps2=0.35,
    peak_acceleration_share=0.06,
    acceleration_at_impact_mps2=0.5,
    backswing_length_m=0.010,
)
"""The student's own standard deviations (chosen for the tests: about 4 % of times and lengths)."""
ERROR = Habit(
    backswing_s=0.008,
    forward_swing_s=0.002,
    peak_acceleration_mps2=0.15,
    peak_acceleration_share=0.02,
    acceleration_at_impact_mps2=0.3,
    backswing_length_m=0.001,
)
"""Measurement standard deviations, as a smoother at 240 frames a second gives them."""


def drawn_stroke(
    generator: np.random.Generator,
    habit: Habit,
    *,
    number: int = 1,
    scatter: float = 1.0,
    heavy_tails: bool = False,
) -> StrokeMeasures:
    """Draw one stroke: habit + own scatter + measurement error, all independent.

    Normal, or with `heavy_tails` the own scatter from Student's t with 3 degrees of freedom: a student who
    now and then makes a wild stroke.
    """

    def own() -> float:
        return float(generator.standard_t(3) if heavy_tails else generator.standard_normal())

    true = {name: getattr(habit, name) + scatter * getattr(SCATTER, name) * own() for name in Habit.__slots__}
    seen = {
        name: Estimate(value + getattr(ERROR, name) * generator.standard_normal(), getattr(ERROR, name))
        for name, value in true.items()
    }
    takeaway = 1.0
    top = takeaway + true["backswing_s"]
    impact = top + true["forward_swing_s"]
    ratio = seen["backswing_s"].value / seen["forward_swing_s"].value
    before = seen["acceleration_at_impact_mps2"].value + 0.2 + 0.1 * generator.standard_normal()
    speed = 1.5 + scatter * 0.05 * generator.standard_normal()
    return StrokeMeasures(
        number=number,
        direction="with the arrow",
        takeaway_s=Estimate(takeaway, 0.008),
        top_s=Estimate(top, 0.002),
        impact_s=Estimate(impact, 0.0002),
        finish_s=Estimate(impact + 0.4, 0.004),
        impact_source="ball",
        backswing_s=seen["backswing_s"],
        forward_swing_s=seen["forward_swing_s"],
        tempo_ratio=Estimate(ratio, 0.03),
        backswing_length_m=seen["backswing_length_m"],
        through_length_m=Estimate(0.3, 0.001),
        acceleration_at_top_mps2=seen["peak_acceleration_mps2"],
        peak_acceleration_mps2=seen["peak_acceleration_mps2"],
        peak_acceleration_s=Estimate.missing(),
        peak_acceleration_share=seen["peak_acceleration_share"],
        acceleration_at_impact_mps2=seen["acceleration_at_impact_mps2"],
        acceleration_before_impact_mps2=Estimate(before, 0.2),
        peak_speed_mps=Estimate(speed + 0.02, 0.005),
        peak_speed_after_impact_s=Estimate(-0.02 + scatter * 0.008 * generator.standard_normal(), 0.002),
        impact_speed_mps=Estimate(speed, 0.005),
        speed_lost_share=Estimate(0.2, 0.005),
        ball_speed_mps=Estimate(1.6 * speed, 0.01),
        ball_to_head_ratio=Estimate(1.6, 0.01),
        spectral_arc_length=Estimate(-1.5, 0.01),
        log_dimensionless_jerk=Estimate(-5.6, 0.02),
        head_tilt_range_rad=Estimate.missing(),
        hub_radius_m=Estimate.missing(),
        profile=_profile(generator, true, takeaway, top, impact),
    )


def _profile(
    generator: np.random.Generator, true: Mapping[str, float], takeaway: float, top: float, impact: float
) -> Profile:
    """Straight lines through rest, slow start, top, peak and impact, with a slow wobble of 0.2 m/s^2."""
    t = np.append(np.arange(takeaway - 0.1, impact, FRAME_S), [impact, impact + 1e-6])
    peak_s = top + float(np.clip(true["peak_acceleration_share"], 0.02, 0.98)) * (impact - top)
    peak, end = true["peak_acceleration_mps2"], true["acceleration_at_impact_mps2"]
    a = np.interp(
        t,
        [takeaway, takeaway + 0.15, top, peak_s, impact],
        [0.0, -2.0, 0.8 * peak, peak, end],
    )
    a += 0.2 * generator.standard_normal() * np.sin(2 * math.pi * (t - takeaway) / 0.4)
    a[-1] = -300.0  # the ball's blow, which must never leak into the stroke
    filler = np.zeros_like(t)
    return Profile(t_s=t, x_m=filler, v_mps=filler, a_mps2=a, a_sd_mps2=np.full_like(t, 0.2), tilt_rad=filler)


Lesson = dict[str, dict[float, list[StrokeMeasures]]]


def drawn_lesson(
    generator: np.random.Generator,
    habits: Mapping[str, Habit],
    *,
    strokes: int,
    lengths_m: tuple[float, ...] = (1.83, 3.66),
    scatter: float = 1.0,
    heavy_tails: bool = False,
) -> Lesson:
    """Draw a lesson of `strokes` a condition and putt length; a longer putt has a longer backswing."""
    return {
        name: {
            length: [
                drawn_stroke(generator, habit, number=i + 1, scatter=scatter, heavy_tails=heavy_tails)
                for i in range(strokes)
            ]
            for length in lengths_m
        }
        for name, habit in habits.items()
    }
