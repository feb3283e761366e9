"""Strokes with known motion for the coin's tests: quintic pieces on an arc, a velocity step at impact."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from pennyfall.kinematics.values import Estimate, FloatArray, Profile, StrokeMeasures

IMPACT_GAP_S = 1e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class Stroke:
    """A pendulum stroke: each part the quintic with given place, speed and acceleration at its ends."""

    backswing_m: float = 0.25
    backswing_s: float = 0.65
    forward_s: float = 0.30
    impact_speed_mps: float = 1.4
    top_mps2: float = 5.0
    impact_mps2: float = 0.0
    speed_kept: float = 0.8
    through_s: float = 0.5
    hub_m: float = 1.6
    rest_s: float = 0.1

    @property
    def top_s(self) -> float:
        return self.rest_s + self.backswing_s

    @property
    def impact_s(self) -> float:
        return self.top_s + self.forward_s

    def along(self, t_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return arc length, speed and acceleration along the arc at `t_s` (after impact: strictly later)."""
        after_mps = self.speed_kept * self.impact_speed_mps
        through_m = 0.45 * after_mps * self.through_s
        pieces = [
            (self.rest_s, self.top_s, (0, 0, 0), (-self.backswing_m, 0, self.top_mps2)),
            (
                self.top_s,
                self.impact_s,
                (-self.backswing_m, 0, self.top_mps2),
                (0, self.impact_speed_mps, self.impact_mps2),
            ),
            (
                self.impact_s,
                self.impact_s + self.through_s,
                (0, after_mps, min(self.impact_mps2, 0.0)),
                (through_m, 0, 0),
            ),
        ]
        out = np.zeros((3, len(t_s)))
        for start_s, end_s, first, last in pieces:
            inside = (t_s > start_s) & (t_s <= end_s)
            curve = _quintic(end_s - start_s, first, last)
            for order in range(3):
                out[order, inside] = np.polynomial.polynomial.polyval(
                    t_s[inside] - start_s, np.polynomial.polynomial.polyder(curve, order)
                )
        out[0, t_s > pieces[-1][1]] = through_m
        return out[0], out[1], out[2]

    def profile(self, *, rate_hz: float = 240.0, with_tilt: bool = True, a_sd_mps2: float = 0.1) -> Profile:
        """Return the stroke sampled as a measurement would hold it."""
        t_s = np.arange(0.0, self.impact_s + self.through_s, 1 / rate_hz)
        t_s = np.sort(np.concatenate([t_s, [self.impact_s, self.impact_s + IMPACT_GAP_S]]))
        s_m, v_mps, a_mps2 = self.along(t_s)
        angle = s_m / self.hub_m
        return Profile(
            t_s=t_s,
            x_m=self.hub_m * np.sin(angle) - 0.05,
            v_mps=v_mps * np.cos(angle),
            a_mps2=a_mps2 * np.cos(angle) - v_mps**2 / self.hub_m * np.sin(angle),
            a_sd_mps2=np.full_like(t_s, a_sd_mps2),
            tilt_rad=angle if with_tilt else np.full_like(t_s, math.nan),
        )

    def measured(self, *, ball_mps: float = math.nan, profile: Profile | None = None) -> StrokeMeasures:
        """Return the stroke as a measurement holds it, with what the coin's tools read, the rest missing."""
        missing: dict[str, Any] = {
            each.name: Estimate.missing()
            for each in fields(StrokeMeasures)
            if each.name.endswith(("_s", "_m", "_mps", "_mps2", "_share", "_ratio", "_rad", "length", "jerk"))
        }
        known = {
            "top_s": Estimate(self.top_s, 0.003),
            "impact_s": Estimate(self.impact_s, 0.0005),
            "forward_swing_s": Estimate(self.forward_s, 0.003),
            "backswing_length_m": Estimate(self.backswing_m, 0.001),
            "impact_speed_mps": Estimate(self.impact_speed_mps, 0.01),
            "ball_speed_mps": Estimate(ball_mps, 0.02),
            "hub_radius_m": Estimate(self.hub_m, 0.05),
        }
        return StrokeMeasures(
            **{**missing, **known},
            number=1,
            direction="with the arrow",
            impact_source="ball",
            profile=profile or self.profile(),
        )


EARLY = Stroke(top_mps2=8.0, impact_mps2=0.0)
"""Acceleration largest at the top, none at impact."""
LATE = Stroke(top_mps2=2.5, impact_mps2=8.0, forward_s=0.34)
"""Acceleration growing until impact."""


def random_stroke(generator: np.random.Generator) -> Stroke:
    """Return a plausible stroke (ranges: common practice, no source)."""
    forward_s = generator.uniform(0.26, 0.38)
    speed_mps = generator.uniform(1.0, 1.7)
    return Stroke(
        backswing_m=0.55 * speed_mps * forward_s * generator.uniform(0.9, 1.15),
        backswing_s=generator.uniform(0.55, 0.8),
        forward_s=forward_s,
        impact_speed_mps=speed_mps,
        top_mps2=speed_mps / forward_s * generator.uniform(0.9, 1.6),
        impact_mps2=generator.uniform(-1.0, 4.0),
        hub_m=generator.uniform(1.3, 1.9),
    )


def _quintic(span_s: float, first: tuple[float, ...], last: tuple[float, ...]) -> FloatArray:
    """Return the coefficients, lowest first, of the quintic with these ends (place, speed, acceleration)."""
    t = span_s
    rows = np.array(
        [
            [1, t, t**2, t**3, t**4, t**5],
            [0, 1, 2 * t, 3 * t**2, 4 * t**3, 5 * t**4],
            [0, 0, 2, 6 * t, 12 * t**2, 20 * t**3],
        ]
    )
    low = np.array([first[0], first[1], first[2] / 2])
    high = np.linalg.solve(rows[:, 3:], np.array(last) - rows[:, :3] @ low)
    return np.concatenate([low, high])
