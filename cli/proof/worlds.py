"""The worlds of the study: one by published laws, one as the smoother assumes, and others that neither knows.

A world draws a stroke as the hand means it and what troubles it on its way, and lets the head meet the ball.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.polynomial import Polynomial
from scipy.optimize import brentq

from pennyfall.cli.proof.strokes import Intent, Path, filmed_start, lopsided, published
from pennyfall.demo_clips.ball import PlayedBall, launch
from pennyfall.demo_clips.motion import Displacement, Piece, join, quintic, rest
from pennyfall.demo_clips.putter import Putter, contact_displacement
from pennyfall.demo_clips.strokes import (
    Performance,
    Stroke,
    StrokeEvents,
    ends_s,
    random_stroke,
    stroke_pieces,
)
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
TREMOR_HZ, TREMOR_M, TREMOR_GROWS_S = (8.0, 10.0), (1e-4, 3e-4), 0.1
"""A tremor's two tones, how far they swing together, and how long it takes to come.

A hand held out trembles with a clear peak between 6 and 12 Hz (Lakie et al. 2015, J. Physiol. 593:4411-4422,
abstract), by 0.0015 to 0.035 g at its dominant frequency (97 people; Arch. Neurol. 1982, 39:358-362,
abstract): 0.005 to 0.11 mm at 9 Hz. These are the strongest of those and up to three times as strong."""
PUSH_S, PUSH_MPS2 = (0.02, 0.05), (2.0, 6.0)
"""A push begins so long before the ball and grows evenly to so much; chosen by us."""
LETTING_GO_S, LETTING_GO_SHARE = (0.03, 0.09), (0.5, 1.2)
"""The pull is lost along a half cosine in so long before the ball, so much of it, of 1 m/s^2 at least; chosen
by us."""
LONG_CONTACT_S = 0.001
"""Twice the half millisecond that a contact is said to last (USGA, for drivers)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Trouble:
    """What comes on top of the way that the hand means."""

    path: Path
    lasts: bool
    """Whether it goes on after impact."""


@dataclass(frozen=True, kw_only=True, slots=True)
class World:
    """How strokes are drawn."""

    name: str
    meaning: str
    """What is so in it, in words."""
    intend: Callable[[Putter, np.random.Generator], Intent] = published
    trouble: Callable[[Intent, np.random.Generator], Trouble] | None = None
    contact_s: float = 0.0
    """How long head and ball touch; 0 is a step [s]."""

    def draw(self, putter: Putter, generator: np.random.Generator) -> Shown:
        """Draw a stroke."""
        while True:
            intent = self.intend(putter, generator)
            trouble = self.trouble(intent, generator) if self.trouble is not None else None
            try:
                performance = _perform(intent, trouble, putter, generator)
            except ValueError:
                continue  # this draw would turn on its way
            return Shown(truth=performance, filmed=_touching(performance, self.contact_s))


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """A stroke with its truth, and as the camera sees it: they differ while head and ball touch."""

    truth: Performance
    filmed: Performance


def tremor(intent: Intent, generator: np.random.Generator) -> Trouble:
    """Draw a tremor that comes with the takeaway."""
    lasting = tremor_before(intent, generator)

    def path(t: FloatArray) -> FloatArray:
        r = np.clip((t - intent.takeaway_s) / TREMOR_GROWS_S, 0.0, 1.0)
        grown = Polynomial([0.0, 0.0, 0.0, 10.0, -15.0, 6.0])
        a, b = lasting.path(t), np.stack([grown.deriv(n)(r) / TREMOR_GROWS_S**n for n in range(3)])
        return np.stack([a[0] * b[0], a[1] * b[0] + a[0] * b[1], a[2] * b[0] + 2 * a[1] * b[1] + a[0] * b[2]])

    return Trouble(path=path, lasts=True)


def tremor_before(intent: Intent, generator: np.random.Generator) -> Trouble:
    """Draw a tremor that has been there before the takeaway."""
    del intent
    rates = 2 * np.pi * generator.uniform(*TREMOR_HZ, 2)
    share = generator.uniform(0.3, 0.7)
    sizes = generator.uniform(*TREMOR_M) * np.array([share, 1 - share])
    phases = generator.uniform(0, 2 * np.pi, 2)

    def path(t: FloatArray) -> FloatArray:
        angle = rates[:, None] * t + phases[:, None]
        return np.stack(
            [sizes @ np.sin(angle), (sizes * rates) @ np.cos(angle), -(sizes * rates**2) @ np.sin(angle)]
        )

    return Trouble(path=path, lasts=True)


def push(intent: Intent, generator: np.random.Generator) -> Trouble:
    """Draw a push of the hands that begins just before the ball and grows until it is met."""
    lasts_s = generator.uniform(*PUSH_S)
    jerk = generator.uniform(*PUSH_MPS2) / lasts_s

    def path(t: FloatArray) -> FloatArray:
        r = np.maximum(t - intent.impact_s + lasts_s, 0.0)
        return jerk * np.stack([r**3 / 6, r**2 / 2, r])

    return Trouble(path=path, lasts=False)


def letting_go(intent: Intent, generator: np.random.Generator) -> Trouble:
    """Draw a loss of the pull just before the ball, to nothing or beyond."""
    lasts_s = generator.uniform(*LETTING_GO_S)
    pull = float(intent.path(np.array([intent.impact_s]))[2, 0])
    loss, rate = -generator.uniform(*LETTING_GO_SHARE) * max(pull, 1.0) / 2, np.pi / lasts_s

    def path(t: FloatArray) -> FloatArray:
        r = np.maximum(t - intent.impact_s + lasts_s, 0.0)
        c, s = np.cos(rate * r), np.sin(rate * r)
        return loss * np.stack([r**2 / 2 - (1 - c) / rate**2, r - s / rate, 1 - c])

    return Trouble(path=path, lasts=False)


def _perform(
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


def _touching(performance: Performance, contact_s: float) -> Performance:
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


START_POWERS, START_SHARES, SOFT_SHARE = (2, 3, 4), (0.2, 0.5, 0.3), 0.25
"""Lowest power of the time since takeaway with which a head leaves rest; how often; share of the backswing
over which the smoothest start builds up."""
GRABBING_STROKES, GRAB_OF_PULL = 0.125, (0.1, 0.5)
"""Share of strokes whose hands grab at the top, and by what share of the first pull it then jumps."""


class AssumedWorld(World):
    """Strokes of few polynomials, with the starts, grabs and corners that the smoother allows for."""

    __slots__ = ()

    def draw(self, putter: Putter, generator: np.random.Generator) -> Shown:
        """Draw a stroke."""
        while True:
            stroke = random_stroke(generator)
            power = int(generator.choice(START_POWERS, p=START_SHARES))
            friction = generator.uniform(*FRICTION)
            grab = generator.uniform(*GRAB_OF_PULL) if generator.uniform() < GRABBING_STROKES else 0.0
            parts, event = stroke_pieces(stroke, putter, start_s=REST_S)
            back = _assumed_backswing(stroke, (1 - grab) * parts[0].end(2), power)
            if np.any(join(back).velocity(np.linspace(0.02, 0.98, 97) * stroke.backswing_s) >= 0):
                continue  # this draw would turn back on its way
            pieces = [rest(0.0, REST_S), *back, *parts[1:], rest(event.finish_m, REST_S)]
            performance = Performance(
                motion=join(pieces),
                strokes=(event,),
                balls=launch([0.0], [(event.impact_s, event.ball_speed_mps)], friction, rolling_mps2=0.6),
                duration_s=ends_s(0.0, pieces)[-1],
            )
            return Shown(truth=performance, filmed=performance)


def _assumed_backswing(stroke: Stroke, braking_mps2: float, start_power: int) -> tuple[Piece, ...]:
    top, T = -stroke.backswing_m, stroke.backswing_s
    if start_power == 3:
        return (quintic(T, (0.0, 0.0, 0.0), (top, 0.0, braking_mps2)),)
    if start_power == 2:
        # the half cosine's first acceleration, pi^2 / 2 lengths per duration squared
        return (quintic(T, (0.0, 0.0, 0.5 * np.pi**2 * top / T**2), (top, 0.0, braking_mps2)),)
    early = SOFT_SHARE * T
    # 15 t^4 - 24 t^5 is how the smoothest polynomial with three resting derivatives begins
    soft = Piece(early, (0.0, 0.0, 0.0, 0.0, 15 * top / T**4, -24 * top / T**5))
    return soft, quintic(T - early, (soft.end(), soft.end(1), soft.end(2)), (top, 0.0, braking_mps2))


PUBLISHED = World(name="published laws", meaning="as all strokes above")
WORLDS = (
    AssumedWorld(name="as assumed", meaning="starts, grabs and corners of the pull as the tool has them"),
    PUBLISHED,
    World(name="filmed starts", meaning="leaves rest as filmed hands do, t^2 to t^7", intend=filmed_start),
    World(name="lopsided", meaning="backswing fast early, or late", intend=lopsided),
    World(name="tremor", meaning="8 to 10 Hz, 0.1 to 0.3 mm, from the takeaway on", trouble=tremor),
    World(name="tremor before", meaning="the same, at address too", trouble=tremor_before),
    World(name="push", meaning="2 to 6 m/s² more, growing over the last 20 to 50 ms", trouble=push),
    World(
        name="letting go",
        meaning="half of the pull, or more than all, lost in 30 to 90 ms",
        trouble=letting_go,
    ),
    World(name="long contact", meaning="head and ball touch for 1 ms", contact_s=LONG_CONTACT_S),
)
"""All worlds: the first as the tool assumes, the second by laws it does not know, the others as that with one
thing more."""


def world_named(name: str) -> World:
    """Return one of the worlds.

    Raises
    ------
    ValueError
        When there is none of that name.

    """
    found = [each for each in WORLDS if each.name == name]
    if not found:
        raise ValueError(f"no world is named {name}: {', '.join(each.name for each in WORLDS)}")
    return found[0]
