"""A stroke that the hand means, performed: what troubles it, the ball it meets, its exact events."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.polynomial import Polynomial
from scipy.optimize import brentq

from pennyfall.cli.proof.strokes import Intent, Path
from pennyfall.demo_clips.ball import PlayedBall, launch
from pennyfall.demo_clips.motion import Displacement, quintic
from pennyfall.demo_clips.putter import Putter, contact_displacement
from pennyfall.demo_clips.strokes import Performance, StrokeEvents
from pennyfall.kinematics.values import FloatArray

REST_S = 0.65
"""Rest before the takeaway and after the finish [s]."""
THROUGH_S = (0.4, 0.6)
"""From impact to the finish; chosen by us [s]."""
THROUGH_SHARE = (0.0, 0.5)
"""Share of the pull before impact that the hands still have after it; chosen by us."""
FRICTION, ROLLING_MPS2 = (0.15, 0.5), (0.42, 0.69)
"""Sliding friction of a ball [-] (common practice, no source), and what greens of 13 to 8 ft take from its
roll, 1.83^2 / 2 S (USGA, Stimpmeter Instruction Booklet) [m/s^2]."""
KNOT_S = 0.001
"""A motion is kept as quintics between knots this far apart, nanometres from any of the laws."""
LEAST_PIECE_S = 1e-6
"""Joints nearer than this are one: differences between them would be rounding."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Trouble:
    """What comes on top of the way that the hand means."""

    path: Path
    lasts: bool
    """Whether it goes on after impact."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """A stroke with its truth, and as the camera sees it: they differ while head and ball touch."""

    truth: Performance
    filmed: Performance


def perform_intent(
    intent: Intent, trouble: Trouble | None, putter: Putter, generator: np.random.Generator
) -> Performance:
    """Return the motion of a head that loses its share of speed where it reaches the ball, with its events.

    Raises
    ------
    ValueError
        Where the forward swing or the follow-through would turn on its way.

    """
    added: Path = (lambda t: np.zeros((3, len(t)))) if trouble is None else trouble.path
    after: Path = added if trouble is not None and trouble.lasts else lambda t: np.zeros((3, len(t)))
    lead_s = intent.takeaway_s

    def before(t: FloatArray) -> FloatArray:
        return intent.path(t) + added(t)

    contact_m = contact_displacement(putter)
    impact_s = _crossing(before, 0, contact_m, intent.impact_s - 0.05, intent.impact_s + 0.05)
    around = np.arange(intent.top_s - 0.05, intent.top_s + 0.05, KNOT_S)
    lowest_s = float(around[int(np.argmin(before(around)[0]))])
    top_s = _crossing(before, 1, 0.0, lowest_s - KNOT_S, lowest_s + KNOT_S)
    if abs(top_s - intent.top_s) < LEAST_PIECE_S:
        top_s = intent.top_s
    speed, pull = before(np.array([impact_s]))[1:, 0]
    left = float(speed) * (1 - putter.speed_lost_share)
    through_s = generator.uniform(*THROUGH_S)
    own = after(np.array([impact_s]))[:, 0]
    through = _slowing(contact_m - own[0], left - own[1], generator.uniform(*THROUGH_SHARE) * pull, through_s)

    def beyond(t: FloatArray) -> FloatArray:
        r = np.clip(t - impact_s, 0.0, through_s)
        return np.stack([through.deriv(n)(r) for n in range(3)]) + after(t)

    stop_s = impact_s + through_s
    slow = np.arange(impact_s + 0.1, stop_s - 0.5 * KNOT_S, KNOT_S)
    turned = np.flatnonzero(beyond(slow)[1] <= 0)
    finish_s = _crossing(beyond, 1, 0.0, slow[turned[0] - 1], slow[turned[0]]) if len(turned) else stop_s
    pulled, sent = np.arange(top_s + 0.005, impact_s, KNOT_S), np.arange(impact_s, impact_s + 0.1, KNOT_S)
    if np.any(before(pulled)[1] <= 0) or np.any(beyond(sent)[1] <= 0):
        raise ValueError("the head would turn on its way to or from the ball")
    pieces = [(lead_s - REST_S, lead_s, before)]
    pieces += [(a, b, before) for a, b in pairwise(sorted({lead_s, top_s, intent.top_s, impact_s}))]
    pieces += [(impact_s, stop_s, beyond), (stop_s, stop_s + REST_S, beyond)]
    shift_s = REST_S - lead_s
    event = StrokeEvents(
        takeaway_s=lead_s + shift_s,
        top_s=top_s + shift_s,
        impact_s=impact_s + shift_s,
        finish_s=finish_s + shift_s,
        start_m=float(before(np.array([lead_s]))[0, 0]),
        top_m=float(before(np.array([top_s]))[0, 0]),
        impact_m=contact_m,
        finish_m=float(beyond(np.array([finish_s]))[0, 0]),
        speed_before_mps=float(speed),
        speed_after_mps=left,
        ball_speed_mps=float(speed) * putter.ball_to_head_ratio,
    )
    return Performance(
        motion=_kept(pieces, shift_s),
        strokes=(event,),
        balls=launch(
            [0.0],
            [(event.impact_s, event.ball_speed_mps)],
            generator.uniform(*FRICTION),
            rolling_mps2=generator.uniform(*ROLLING_MPS2),
        ),
        duration_s=stop_s + REST_S + shift_s,
    )


def _slowing(from_m: float, mps: float, mps2: float, duration_s: float) -> Polynomial:
    """Return the way to a stop whose speed is the cubic through speed and acceleration at both ends."""
    to_m = from_m + mps * duration_s / 2 + mps2 * duration_s**2 / 12
    return Polynomial(quintic(duration_s, (from_m, mps, mps2), (to_m, 0.0, 0.0)).coefficients)


def _crossing(path: Path, order: int, level: float, first_s: float, last_s: float) -> float:
    return float(brentq(lambda t: float(path(np.array([t]))[order, 0]) - level, first_s, last_s))


def _kept(pieces: Sequence[tuple[float, float, Path]], shift_s: float) -> Displacement:
    """Return a motion as quintics between close knots; at a joint each piece goes by its own path."""
    starts, coefficients = [], []
    for first, last, path in pieces:
        edges = np.linspace(first, last, max(int(np.ceil((last - first) / KNOT_S)), 1) + 1)
        inside = 1e-9  # so that a joint counts as the piece's own
        (x, v, a), (x_end, v_end, a_end) = path(edges[:-1] + inside), path(edges[1:] - inside)
        T = np.diff(edges)
        p, q, r = x_end - x - v * T - a * T**2 / 2, (v_end - v - a * T) * T, (a_end - a) * T**2
        rest_of = [
            (10 * p - 4 * q + r / 2) / T**3,
            (-15 * p + 7 * q - r) / T**4,
            (6 * p - 3 * q + r / 2) / T**5,
        ]
        starts.append(edges[:-1] + shift_s)
        coefficients.append(np.column_stack([x, v, a / 2, *rest_of]))
    return Displacement(
        starts_s=np.concatenate(starts), end_s=pieces[-1][1] + shift_s, coefficients=np.vstack(coefficients)
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _PressedBall(PlayedBall):
    """A ball that takes up its speed while it is touched, half of it until the struck instant."""

    contact_s: float

    def position(self, t_s: FloatArray) -> FloatArray:
        eased = _eased(np.asarray(t_s) - self.struck_s, self.contact_s)
        return PlayedBall.position(self, t_s) + self.launch_mps * eased


def _eased(since_s: FloatArray, contact_s: float) -> FloatArray:
    """Return how far a half-sine force is ahead of a step of the speed by one at its middle [s]."""
    r = np.clip(since_s / contact_s + 0.5, 0.0, 1.0)
    return np.asarray(
        contact_s * (r / 2 - np.sin(np.pi * r) / (2 * np.pi)) - np.clip(since_s, 0.0, contact_s / 2)
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _PressedHead(Displacement):
    """A head whose speed is lost while it touches the ball."""

    impact_s: float
    lost_mps: float
    contact_s: float

    def position(self, t_s: FloatArray) -> FloatArray:
        eased = _eased(np.asarray(t_s) - self.impact_s, self.contact_s)
        return Displacement.position(self, t_s) - self.lost_mps * eased


def touching(performance: Performance, contact_s: float) -> Performance:
    """Return what is seen of a performance whose head and ball touch for so long."""
    if contact_s == 0:
        return performance
    motion, ball, event = performance.motion, performance.balls[0], performance.strokes[0]
    head = _PressedHead(
        starts_s=motion.starts_s,
        end_s=motion.end_s,
        coefficients=motion.coefficients,
        impact_s=event.impact_s,
        lost_mps=event.speed_before_mps - event.speed_after_mps,
        contact_s=contact_s,
    )
    pressed = _PressedBall(
        placed_s=ball.placed_s,
        struck_s=ball.struck_s,
        launch_mps=ball.launch_mps,
        friction=ball.friction,
        rolling_mps2=ball.rolling_mps2,
        contact_s=contact_s,
    )
    return replace(performance, motion=head, balls=(pressed,))
