"""The strokes of the study: drawn shapes, performed into a motion with exact events."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.demo_clips.ball import launch
from pennyfall.demo_clips.motion import Piece, join, quintic, rest
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.strokes import Performance, Stroke, ends_s, random_stroke, stroke_pieces

START_POWERS = (2, 3, 4)
"""Lowest power of the time since takeaway with which the head leaves rest: with a step of acceleration, of
jerk (as the minimum-jerk movement of Flash & Hogan 1985, from memory, does), or smoother still."""
START_SHARES = (0.2, 0.5, 0.3)
SOFT_SHARE = 0.25
"""Share of the backswing over which the smoothest start builds up."""
FRICTION = (0.1, 0.6)
"""Sliding friction of the ball on carpet or green (common practice, no source): what the fit of its launch
allows for (`launch.DECELERATION_PRIOR`)."""
GRABBING_STROKES, GRAB_OF_PULL = 0.125, (0.1, 0.5)
"""Share of strokes whose hands grab at the top, and by what share of the first pull it then jumps; chosen by
us."""
REST_S = (0.6, 0.7)
"""Rest before the takeaway and after the finish [s]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """A drawn stroke with the club and the ball it is made with."""

    stroke: Stroke
    putter: Putter
    start_power: int
    """The head leaves rest like t^start_power; one of `START_POWERS`."""
    grab: float
    """Step of the acceleration at the top, as a share of the first pull."""
    friction: float
    """Sliding friction of the ball [-]."""


def perform_stroke(drawn: Drawn) -> Performance:
    """Return the motion of one stroke between two rests.

    Raises
    ------
    ValueError
        When the backswing would turn on its way.

    """
    stroke = drawn.stroke
    parts, event = stroke_pieces(stroke, drawn.putter, start_s=REST_S[0])
    back = _backswing(stroke, (1 - drawn.grab) * parts[0].end(2), drawn.start_power)
    speed = join(back).velocity(np.linspace(0.02, 0.98, 97) * stroke.backswing_s)
    if np.any(speed >= 0):
        raise ValueError("the backswing would turn back on its way")
    pieces = [rest(0.0, REST_S[0]), *back, *parts[1:], rest(event.finish_m, REST_S[1])]
    hits = [(event.impact_s, event.ball_speed_mps)]
    return Performance(
        motion=join(pieces),
        strokes=(event,),
        balls=launch([0.0], hits, drawn.friction, rolling_mps2=0.6),
        duration_s=ends_s(0.0, pieces)[-1],
    )


def draw_stroke(putter: Putter, generator: np.random.Generator) -> Drawn:
    """Draw one stroke: any length, tempo, shape and start."""
    while True:
        drawn = Drawn(
            stroke=random_stroke(generator),
            putter=putter,
            start_power=int(generator.choice(START_POWERS, p=START_SHARES)),
            friction=generator.uniform(*FRICTION),
            grab=generator.uniform(*GRAB_OF_PULL) if generator.uniform() < GRABBING_STROKES else 0.0,
        )
        try:
            perform_stroke(drawn)
        except ValueError:
            continue  # this draw would turn back on its way
        return drawn


def _backswing(stroke: Stroke, braking_mps2: float, start_power: int) -> tuple[Piece, ...]:
    top, T = -stroke.backswing_m, stroke.backswing_s
    if start_power == 3:
        return (quintic(T, (0.0, 0.0, 0.0), (top, 0.0, braking_mps2)),)
    if start_power == 2:
        # the half cosine's first acceleration, pi^2 / 2 lengths per duration squared
        return (quintic(T, (0.0, 0.0, 0.5 * np.pi**2 * top / T**2), (top, 0.0, braking_mps2)),)
    early = SOFT_SHARE * T
    # 15 t^4 - 24 t^5 is how the smoothest polynomial with three resting derivatives begins
    soft = Piece(early, (0.0, 0.0, 0.0, 0.0, 15 * top / T**4, -24 * top / T**5))
    onward = quintic(T - early, (soft.end(), soft.end(1), soft.end(2)), (top, 0.0, braking_mps2))
    return soft, onward
