"""Strokes with exact truth, made of polynomials, and tracks of them with the noise that filmed tags show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.polynomial import Polynomial

from pennyfall.kinematics.stroke.tracks import BallTrack, HeadTrack
from pennyfall.kinematics.values import FloatArray


@dataclass(frozen=True, kw_only=True)
class TrueStroke:
    """Position relative to `address_m` as polynomials in the time since each piece began."""

    starts_s: list[float]
    pieces: list[Polynomial]
    address_m: float
    takeaway_s: float
    top_s: float
    impact_s: float
    finish_s: float
    ball_speed_mps: float
    ball_deceleration_mps2: float
    hub_radius_m: float = 1.3

    def position(self, time_s: FloatArray, order: int = 0) -> FloatArray:
        """Return position (order 0) or its derivative of any order; at a joint, the right limit."""
        piece = np.searchsorted(self.starts_s, time_s, side="right") - 1
        value = np.empty(len(time_s))
        for index, polynomial in enumerate(self.pieces):
            here = piece == index
            derivative = polynomial.deriv(order) if order else polynomial
            value[here] = derivative(time_s[here] - self.starts_s[index])
        return value + (self.address_m if order == 0 else 0.0)

    def before(self, time_s: float, order: int) -> float:
        """Return the left limit of a derivative."""
        return float(self.position(np.array([time_s - 1e-9]), order)[0])

    def ball(self, time_s: FloatArray) -> FloatArray:
        """Return the ball's position: at rest, then sliding to 5/7 of its launch speed, then rolling.

        It rolls as on a green of 9 ft, its deceleration 1.83^2 / (2 * 2.74) m/s^2.
        """
        since = np.maximum(time_s - self.impact_s, 0.0)
        slide = 2 / 7 * self.ball_speed_mps / self.ball_deceleration_mps2
        sliding = np.minimum(since, slide)
        x = self.ball_speed_mps * sliding - 0.5 * self.ball_deceleration_mps2 * sliding**2
        rolling = np.maximum(since - slide, 0.0)
        return np.asarray(x + 5 / 7 * self.ball_speed_mps * rolling - 0.5 * 0.6 * rolling**2)

    def truths(self) -> dict[str, float]:
        """Return every measured quantity's true value, by the definitions of the measurement file."""
        time = np.arange(self.takeaway_s, self.finish_s, 1e-4)
        v, a = self.position(time, 1), self.position(time, 2)
        slowing = time[(time < self.top_s)][np.argmin(v[time < self.top_s])]
        swing = (time >= slowing) & (time < self.impact_s)
        peak = np.argmax(np.where(swing, a, -np.inf))
        onward = time >= self.top_s
        left_v, left_a = self.before(self.impact_s, 1), self.before(self.impact_s, 2)
        right_v = float(self.position(np.array([self.impact_s]), 1)[0])
        fastest = np.argmax(np.where(onward, v, -np.inf))
        impact_is_fastest = left_v >= v[fastest]
        at_events = self.position(np.array([self.takeaway_s, self.top_s, self.impact_s, self.finish_s]))
        early_v = float(self.position(np.array([self.impact_s - 0.02]), 1)[0])
        forward = self.impact_s - self.top_s
        return {
            "takeaway_s": self.takeaway_s,
            "top_s": self.top_s,
            "impact_s": self.impact_s,
            "finish_s": self.finish_s,
            "backswing_s": self.top_s - self.takeaway_s,
            "forward_swing_s": forward,
            "tempo_ratio": (self.top_s - self.takeaway_s) / forward,
            "backswing_length_m": at_events[0] - at_events[1],
            "through_length_m": at_events[3] - at_events[2],
            "acceleration_at_top_mps2": float(self.position(np.array([self.top_s]), 2)[0]),
            "peak_acceleration_mps2": max(float(a[peak]), left_a),
            "peak_acceleration_s": float(time[peak]),
            "peak_acceleration_share": (float(time[peak]) - self.top_s) / forward,
            "acceleration_at_impact_mps2": left_a,
            "acceleration_before_impact_mps2": (left_v - early_v) / 0.02,
            "peak_speed_mps": max(left_v, float(v[fastest])),
            "peak_speed_after_impact_s": 0.0 if impact_is_fastest else float(time[fastest]) - self.impact_s,
            "impact_speed_mps": left_v,
            "speed_lost_share": (left_v - right_v) / left_v,
            "ball_speed_mps": self.ball_speed_mps,
            "ball_to_head_ratio": self.ball_speed_mps / left_v,
            "hub_radius_m": self.hub_radius_m,
        }


def stroke(
    kind: str,
    *,
    back_s: float = 0.7,
    forward_s: float = 0.32,
    back_m: float = 0.24,
    rest_s: float = 0.6,
    start_power: int = 3,
    through_m: float | None = None,
    through_s: float = 0.6,
    gap_m: float = 0.01,
    address_m: float = -0.06,
    lost: float = 0.2065,
    ball_deceleration_mps2: float = 3.5,
) -> TrueStroke:
    """Return a stroke whose acceleration peaks early, on a plateau or late in the forward swing.

    The forward swing's acceleration is a polynomial shape scaled so that the head covers ``back_m +
    gap_m``; the backswing is the lowest polynomial that leaves rest like t^start_power and arrives at the
    top with the forward swing's first acceleration (continuous acceleration, a kink in jerk).
    """
    tau = Polynomial([0.0, 1.0])
    shapes = {
        "early": [(0.0, 1.0, 1.0 - 0.2 * tau - 0.75 * tau**2)],
        "kink": [(0.0, 1.0, 1.0 - 0.9 * tau)],
        "plateau": [(0.0, 0.55, 1.0 + 0 * tau), (0.55, 1.0, 1.0 - 4.2 * (tau - 0.55) ** 2)],
        "hold": [(0.0, 0.6, 1.0 + 0 * tau), (0.6, 1.0, 1.0 - 2.2 * (tau - 0.6))],
        "ease": [
            (0.0, 0.45, 1.0 + 0 * tau),
            (0.45, 1.0, 1.0 - ((tau - 0.45) / 0.55) ** 2 * (3.0 - 2.0 * (tau - 0.45) / 0.55)),
        ],
        "let go": [(0.0, 0.84, 0.55 + 0.53 * tau), (0.84, 1.0, 1.0 - 2.4 * (tau - 0.84))],
        "late": [(0.0, 1.0, 0.25 + 0.75 * tau)],
        "middle": [(0.0, 1.0, 0.35 + 2.6 * tau * (1 - tau))],
    }
    x, v = 0.0, 0.0
    unscaled: list[tuple[float, Polynomial]] = []
    for start, end, acceleration in shapes[kind]:
        velocity = acceleration.integ(lbnd=start) + v
        position = velocity.integ(lbnd=start) + x
        unscaled.append((start, position))
        x, v = float(position(end)), float(velocity(end))
    scale = (back_m + gap_m) / x
    forward = [(start, position * scale - back_m) for start, position in unscaled]
    first_acceleration = float(shapes[kind][0][2](0.0)) * scale / forward_s**2
    powers = start_power + np.arange(3)
    conditions = np.array(
        [
            [back_s**p for p in powers],
            [p * back_s ** (p - 1) for p in powers],
            [p * (p - 1) * back_s ** (p - 2) for p in powers],
        ]
    )
    coefficients = np.zeros(start_power + 3)
    coefficients[powers] = np.linalg.solve(conditions, [-back_m, 0.0, first_acceleration])
    if np.any(Polynomial(coefficients).deriv()(np.linspace(0, back_s, 200)[1:-1]) >= 0):
        raise ValueError("this backswing would first press forward")
    if abs(coefficients[start_power]) * back_s**start_power < 3 * back_m:
        raise ValueError("this backswing would creep away: its onset is nowhere to be seen")
    takeaway = rest_s
    top = takeaway + back_s
    impact = top + forward_s
    starts = [-1e9, takeaway]
    pieces = [Polynomial([0.0]), Polynomial(coefficients)]
    for start, position in forward:
        starts.append(top + start * forward_s)
        pieces.append(position(Polynomial([start, 1 / forward_s])))
    speed = v * scale / forward_s
    after = speed * (1 - lost)
    # Quintic from the impact to rest; it starts with half of the acceleration that the hands had.
    post = 0.5 * float(pieces[-1].deriv(2)(impact - starts[-1]))
    T = through_s
    if through_m is None:
        through_m = 0.45 * after * T + 0.06 * post * T**2
    ends = np.array(
        [
            [T**p for p in (3, 4, 5)],
            [p * T ** (p - 1) for p in (3, 4, 5)],
            [p * (p - 1) * T ** (p - 2) for p in (3, 4, 5)],
        ]
    )
    rest = np.array([through_m - after * T - 0.5 * post * T**2, -after - post * T, -post])
    through = np.concatenate([[gap_m, after, 0.5 * post], np.linalg.solve(ends, rest)])
    starts += [impact, impact + T]
    pieces += [Polynomial(through), Polynomial([gap_m + through_m])]
    ball_speed = speed * lost * 0.35 / 0.04593
    return TrueStroke(
        starts_s=starts,
        pieces=pieces,
        address_m=address_m,
        takeaway_s=takeaway,
        top_s=top,
        impact_s=impact,
        finish_s=impact + _first_stop(Polynomial(through), T),
        ball_speed_mps=ball_speed,
        ball_deceleration_mps2=ball_deceleration_mps2,
    )


def _first_stop(position: Polynomial, duration: float) -> float:
    time = np.linspace(0.01, duration - 0.005, 20001)
    stopped = np.flatnonzero(position.deriv()(time) <= 0)
    return float(time[stopped[0]]) if len(stopped) else duration


def correlated_noise(count: int, lag_one: float, generator: np.random.Generator) -> FloatArray:
    """Return unit-variance first-order autoregressive noise, shape (count,)."""
    noise = generator.standard_normal(count)
    for index in range(1, count):
        noise[index] = lag_one * noise[index - 1] + np.sqrt(1 - lag_one**2) * noise[index]
    return noise


def head_track(
    true: TrueStroke,
    generator: np.random.Generator,
    *,
    rate_hz: float = 240.0,
    noise_m: float = 1.8e-4,
    lag_one: float = 0.0,
    end_s: float | None = None,
    start_s: float = 0.0,
    gaps: int = 0,
    frozen_rest: bool = True,
) -> HeadTrack:
    """Return a track of the stroke: noisy in motion, bit-identical at rest, with short gaps."""
    phase = generator.uniform(0, 1 / rate_hz)
    time = np.arange(start_s + phase, end_s or true.finish_s + 0.4, 1 / rate_hz)
    x = true.position(time)
    noise = noise_m * correlated_noise(len(time), lag_one, generator)
    if frozen_rest:
        resting = np.abs(true.position(time, 1)) < 1e-12
        for index in range(1, len(time)):
            if resting[index] and resting[index - 1]:
                noise[index] = noise[index - 1]
    u = x - true.address_m
    radius = true.hub_radius_m
    z = 0.03 + radius - np.sqrt(radius**2 - u**2)
    seen = np.ones(len(time), dtype=bool)
    for _ in range(gaps):
        first = int(generator.integers(5, len(time) - 20))
        seen[first : first + int(generator.integers(1, max(2, int(0.04 * rate_hz))))] = False
    tilt_sd = 0.01

    def observed(values: FloatArray) -> FloatArray:
        return np.where(seen, values, np.nan)

    return HeadTrack(
        time_s=time,
        seen=seen,
        x_m=observed(x + noise),
        y_m=observed(np.zeros(len(time))),
        z_m=observed(z + noise_m * generator.standard_normal(len(time))),
        sd_x_m=observed(np.full(len(time), noise_m)),
        sd_z_m=observed(np.full(len(time), noise_m)),
        tilt_rad=observed(np.arcsin(u / radius) + tilt_sd * generator.standard_normal(len(time))),
        sd_tilt_rad=observed(np.full(len(time), tilt_sd)),
    )


def ball_track(
    true: TrueStroke,
    head: HeadTrack,
    generator: np.random.Generator,
    *,
    noise_m: float = 3e-4,
    reach_m: float = 0.4,
    hidden_before: int = 0,
) -> BallTrack:
    """Return the ball's track: identical frames at rest, noisy in motion, gone beyond `reach_m`."""
    x = true.ball(head.time_s)
    kept = x < reach_m
    first = int(np.argmax(x > 0))
    kept[max(0, first - hidden_before) : first] = False
    moving = x > 0
    noise = np.where(
        moving, noise_m * generator.standard_normal(len(x)), noise_m * generator.standard_normal()
    )
    return BallTrack(
        time_s=head.time_s[kept],
        x_m=(x + noise)[kept],
        y_m=(0.01 * x)[kept],
        sd_x_m=np.full(int(kept.sum()), noise_m),
        at_rest=~moving[kept],
    )


def random_stroke(kind: str, generator: np.random.Generator) -> TrueStroke:
    """Return a stroke of the given kind with random durations, lengths, start and green."""
    while True:
        try:
            return stroke(
                kind,
                back_s=generator.uniform(0.55, 0.9),
                forward_s=generator.uniform(0.26, 0.42),
                back_m=generator.uniform(0.12, 0.30),
                start_power=int(generator.integers(2, 5)),
                through_s=generator.uniform(0.5, 0.8),
                ball_deceleration_mps2=generator.uniform(2.0, 5.0),
            )
        except ValueError:
            continue


Motion = tuple[float, Callable[[FloatArray], FloatArray]]
"""A duration and the position during it as a function of the time since its start."""


def hold(x_m: float, duration_s: float) -> Motion:
    """Return a rest."""
    return duration_s, lambda since: np.full_like(since, x_m)


def move(start_m: float, end_m: float, duration_s: float) -> Motion:
    """Return a minimum-jerk movement from rest to rest."""

    def position(since: FloatArray) -> FloatArray:
        tau = since / duration_s
        return np.asarray(start_m + (end_m - start_m) * tau**3 * (10 - 15 * tau + 6 * tau**2))

    return duration_s, position


def swing(true: TrueStroke, follow_s: float = 0.6) -> Motion:
    """Return a stroke from its first instant to its finish."""
    return true.impact_s + follow_s, true.position


def motion_track(
    motions: Sequence[Motion], generator: np.random.Generator, rate_hz: float = 240.0
) -> HeadTrack:
    """Return a track of one motion after another, 0.15 mm of noise in motion, none at rest, no tilt."""
    total = sum(duration for duration, _ in motions)
    time = np.arange(generator.uniform(0, 1 / rate_hz), total, 1 / rate_hz)
    x = np.empty_like(time)
    start = 0.0
    for duration, position in motions:
        here = (time >= start - 1e-12) & (time < start + duration)
        x[here] = position(time[here] - start)
        start += duration
    noise = 1.5e-4 * correlated_noise(len(time), 0.2, generator)
    for index in range(1, len(time)):
        if abs(x[index] - x[index - 1]) < 1e-12:
            noise[index] = noise[index - 1]
    unknown = np.full(len(time), np.nan)
    return HeadTrack(
        time_s=time,
        seen=np.ones(len(time), dtype=bool),
        x_m=x + noise,
        y_m=np.zeros(len(time)),
        z_m=0.03 + x**2 / 2.6,
        sd_x_m=np.full(len(time), 1.5e-4),
        sd_z_m=np.full(len(time), 1.5e-4),
        tilt_rad=unknown,
        sd_tilt_rad=unknown,
    )


def part_of(head: HeadTrack, first_s: float, last_s: float) -> HeadTrack:
    """Return the frames of a track within a stretch of time."""
    kept = (head.time_s >= first_s) & (head.time_s < last_s)
    arrays = [each.name for each in fields(head) if isinstance(getattr(head, each.name), np.ndarray)]
    return replace(head, **{name: getattr(head, name)[kept] for name in arrays})


def delayed_ball(
    true: TrueStroke, delay_s: float, head: HeadTrack, generator: np.random.Generator
) -> BallTrack:
    """Return the track of the ball of a stroke that starts `delay_s` into the clip."""
    since = head.time_s - delay_s
    x = np.where(since < true.impact_s, 0.0, true.ball(since))
    kept = x < 0.4
    moving = x > 0
    x = x + np.where(moving, 3e-4 * generator.standard_normal(len(x)), 1e-4)
    return BallTrack(
        time_s=head.time_s[kept],
        x_m=x[kept],
        y_m=np.zeros(int(kept.sum())),
        sd_x_m=np.full(int(kept.sum()), 3e-4),
        at_rest=~moving[kept],
    )
