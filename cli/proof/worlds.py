"""The worlds of the study: one by published laws, one as the smoother assumes, and others that neither knows.

A world draws a stroke as the hand means it and what troubles it on its way, and lets the head meet the ball.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial

from pennyfall.cli.proof.performing import FRICTION, REST_S, Shown, Trouble, perform_intent, touching
from pennyfall.cli.proof.strokes import Intent, filmed_start, lopsided, published
from pennyfall.demo_clips.ball import launch
from pennyfall.demo_clips.motion import Piece, join, quintic, rest
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.strokes import Performance, Stroke, ends_s, random_stroke, stroke_pieces
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray

TREMOR_HZ, TREMOR_M, TREMOR_GROWS_S = (6.0, 12.0), (1e-4, 3e-4), 0.1
"""A tremor's two tones, how far they swing together, and how long it takes to come.

A hand held out trembles with a clear peak between 6 and 12 Hz (Lakie et al. 2015, J. Physiol. 593:4411-4422,
abstract), by 0.0015 to 0.035 g at its dominant frequency (97 people; Arch. Neurol. 1982, 39:358-362,
abstract): 0.005 to 0.11 mm at 9 Hz. These are the strongest of those and up to three times as strong."""
PULL_CHANGES_S, PUSH_LEAD_S, PUSH_MPS2 = (0.08, 0.11), (0.02, 0.09), (2.0, 6.0)
"""How long a push takes to its full size, how long before the ball it begins, its size.

The fastest voluntary contraction takes as long to its peak whatever its size (Freund & Buedingen 1978, Exp.
Brain Res. 31:1-12, abstract), about 100 ms (of a thigh: Percept. Mot. Skills 1985, 61:847-852, abstract)."""
LETTING_GO_LEAD_S, LETTING_GO_SHARE = (0.03, 0.09), (0.5, 1.2)
"""How long before the ball the hands begin to let go, and how much of the pull, of 1 m/s^2 at least, they
would lose in all, as fast as a push comes; chosen by us."""
LONG_CONTACT_S = 0.001
"""Twice the half millisecond that a contact is said to last (USGA, for drivers)."""


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
                performance = perform_intent(intent, trouble, putter, generator)
            except ValueError:
                continue  # this draw would turn on its way
            return Shown(truth=performance, filmed=touching(performance, self.contact_s))


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
    """Draw a push of the hands that begins just before the ball is met."""
    lead_s = generator.uniform(*PUSH_LEAD_S)
    return _pull_change(intent.impact_s - lead_s, generator.uniform(*PUSH_MPS2), generator)


def letting_go(intent: Intent, generator: np.random.Generator) -> Trouble:
    """Draw a loss of the pull that begins just before the ball is met."""
    pull = float(intent.path(np.array([intent.impact_s]))[2, 0])
    loss = generator.uniform(*LETTING_GO_SHARE) * max(pull, 1.0)
    return _pull_change(intent.impact_s - generator.uniform(*LETTING_GO_LEAD_S), -loss, generator)


def _pull_change(start_s: float, mps2: float, generator: np.random.Generator) -> Trouble:
    """Return a pull that grows along a half cosine from `start_s`, and ends as the ball is met."""
    lasts_s = generator.uniform(*PULL_CHANGES_S)
    rate = np.pi / lasts_s

    def path(t: FloatArray) -> FloatArray:
        since = np.maximum(t - start_s, 0.0)
        r, on = np.minimum(since, lasts_s), np.maximum(since - lasts_s, 0.0)
        c, s = np.cos(rate * r), np.sin(rate * r)
        grown = np.stack([r**2 / 4 - (1 - c) / (2 * rate**2), (r - s / rate) / 2, (1 - c) / 2])
        grown[0] += lasts_s / 2 * on + on**2 / 2
        grown[1] += on
        return mps2 * grown

    return Trouble(path=path, lasts=False)


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
    World(name="tremor", meaning="6 to 12 Hz, 0.1 to 0.3 mm, from the takeaway on", trouble=tremor),
    World(name="tremor before", meaning="the same, at address too", trouble=tremor_before),
    World(
        name="push", meaning="2 to 6 m/s² more within 0.1 s, begun 20 to 90 ms before the ball", trouble=push
    ),
    World(
        name="letting go",
        meaning="half of the pull, or more than all, lost so",
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
    CannotMeasure
        When there is none of that name.

    """
    found = [each for each in WORLDS if each.name == name]
    if not found:
        raise CannotMeasure(
            f"No world is named {name}.", fix=f"Name one of: {', '.join(each.name for each in WORLDS)}."
        )
    return found[0]
