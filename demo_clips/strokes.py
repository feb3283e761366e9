"""A putt's script: rests, moves and strokes, performed into one motion with its exact events."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.demo_clips.ball import PlayedBall, launch
from pennyfall.demo_clips.motion import Displacement, Piece, Ramp, accelerated, join, quintic, rest
from pennyfall.demo_clips.putter import Putter, contact_displacement

PLATEAU = ((0.0, 1.0), (0.55, 1.0), (1.0, 0.0))
RISING = ((0.0, 0.25), (1.0, 1.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Stroke:
    """The shape of one stroke along the target line.

    The times and lengths given here are chosen by us; the shipped scenes state their own.
    """

    backswing_m: float = 0.25
    """Distance from address to the top [m]."""
    backswing_s: float = 0.66
    """Time from takeaway to the top [s]."""
    forward_s: float = 0.33
    """Time from the top to impact [s]."""
    levels: tuple[tuple[float, float], ...] = PLATEAU
    """Shape of the forward swing's acceleration; see `motion.accelerated`."""
    ramp: Ramp = "smooth"
    """How the acceleration goes from level to level."""
    braking_share: float = 1.0
    """Acceleration at the end of the backswing as a share of that at the start of the forward swing: 1 is
    continuous through the top, anything else a finite jump there."""
    through_s: float = 0.50
    """Time from impact to the finish [s]; the head slows down by a cubic, which decides the distance."""
    through_mps2: float = 0.0
    """Acceleration just after impact [m/s^2]."""
    hits: bool = True
    """False for a practice stroke, which passes the ball's place without one."""


@dataclass(frozen=True, slots=True)
class Rest:
    """The head stands still."""

    duration_s: float
    """How long [s]."""


@dataclass(frozen=True, slots=True)
class Move:
    """The head moves to a place and stops there: a waggle, a forward press, the way back to address."""

    to_m: float
    """Where to, from address [m]."""
    duration_s: float
    """How long it takes [s]."""


@dataclass(frozen=True, slots=True)
class NewBall:
    """A ball is put down between two frames, so that no hand has to be drawn."""


Action = Stroke | Rest | Move | NewBall


@dataclass(frozen=True, kw_only=True, slots=True)
class StrokeEvents:
    """One stroke's exact events on the model clock, and the speeds at impact."""

    takeaway_s: float
    top_s: float
    impact_s: float
    finish_s: float
    start_m: float
    top_m: float
    impact_m: float
    finish_m: float
    speed_before_mps: float
    speed_after_mps: float
    ball_speed_mps: float
    """NaN for a practice stroke."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Performance:
    """Everything that moves along the target line."""

    motion: Displacement
    """Displacement of the head's reference point from address."""
    strokes: tuple[StrokeEvents, ...]
    """Every stroke, practice strokes too, in order."""
    balls: tuple[PlayedBall, ...]
    """Every ball, in order."""
    duration_s: float
    """End of the script [s]."""

    def ball(self, t_s: float) -> PlayedBall | None:
        """Return the ball that is there at one time, if any."""
        there = [ball for ball in self.balls if ball.placed_s <= t_s < ball.gone_s]
        return there[-1] if there else None


def perform(
    script: Sequence[Action], putter: Putter, friction: float = 0.4, rolling_mps2: float = 0.6
) -> Performance:
    """Return the motion that a script asks for.

    Parameters
    ----------
    script : sequence of Action
        What happens, in order, from t = 0 with the head at address. There is a ball from the start unless
        the script itself puts the first one down.
    putter : Putter
        Its masses and size decide impact.
    friction, rolling_mps2 : float
        Sliding friction of the ball [-] and deceleration of its roll [m/s^2].

    """
    pieces: list[Piece] = []
    events: list[StrokeEvents] = []
    first = next(
        (action for action in script if isinstance(action, (Stroke, NewBall)) and _concerns_ball(action)),
        None,
    )
    placed = [] if isinstance(first, NewBall) else [0.0]
    hits: list[tuple[float, float]] = []
    t, x = 0.0, 0.0
    for action in script:
        if isinstance(action, NewBall):
            placed.append(t)
            continue
        if isinstance(action, Stroke):
            parts, event = stroke_pieces(action, putter, start_m=x, start_s=t)
            events.append(event)
            if action.hits:
                hits.append((event.impact_s, event.ball_speed_mps))
        elif isinstance(action, Move):
            parts = (quintic(action.duration_s, (x, 0.0, 0.0), (action.to_m, 0.0, 0.0)),)
        else:
            parts = (rest(x, action.duration_s),)
        pieces.extend(parts)
        t, x = ends_s(t, parts)[-1], parts[-1].end()
    return Performance(
        motion=join(pieces),
        strokes=tuple(events),
        balls=launch(placed, hits, friction, rolling_mps2),
        duration_s=t,
    )


def stroke_pieces(
    stroke: Stroke, putter: Putter, *, start_m: float = 0.0, start_s: float = 0.0
) -> tuple[tuple[Piece, ...], StrokeEvents]:
    """Return one stroke's pieces and events; takeaway is at `start_s` and `start_m`."""
    top = -stroke.backswing_m
    impact = contact_displacement(putter)
    forward = accelerated(top, impact - top, stroke.forward_s, stroke.levels, stroke.ramp)
    braking = stroke.braking_share * forward[0].at(0.0, 2)
    back = quintic(stroke.backswing_s, (start_m, 0.0, 0.0), (top, 0.0, braking))
    before = forward[-1].end(1)
    after = before * (1 - putter.speed_lost_share) if stroke.hits else before
    # a practice stroke flows through without a step, so its acceleration goes on as well
    after_mps2 = stroke.through_mps2 if stroke.hits else forward[-1].end(2)
    # the distance at which the quintic's velocity is the cubic through both ends' speed and acceleration
    finish = impact + after * stroke.through_s / 2 + after_mps2 * stroke.through_s**2 / 12
    through = quintic(stroke.through_s, (impact, after, after_mps2), (finish, 0.0, 0.0))
    _refuse_reversals(back, through)
    parts = (back, *forward, through)
    ends = ends_s(start_s, parts)
    return parts, StrokeEvents(
        takeaway_s=start_s,
        top_s=ends[0],
        impact_s=ends[-2],
        finish_s=ends[-1],
        start_m=start_m,
        top_m=top,
        impact_m=impact,
        finish_m=finish,
        speed_before_mps=before,
        speed_after_mps=after,
        ball_speed_mps=before * putter.ball_to_head_ratio if stroke.hits else float("nan"),
    )


def ends_s(start_s: float, pieces: Sequence[Piece]) -> list[float]:
    """Return when each piece ends, one after the other from `start_s` [s].

    Added up in the order in which `motion.join` does: an event that missed its joint by one rounding would be
    given the velocity and the acceleration of the wrong side.
    """
    ends: list[float] = []
    for piece in pieces:
        ends.append((ends[-1] if ends else start_s) + piece.duration_s)
    return ends


def random_stroke(generator: np.random.Generator) -> Stroke:
    """Draw a plausible stroke for a study: any length, tempo and shape between early and late."""
    while True:
        forward_s = generator.uniform(0.26, 0.42)
        backswing_m = generator.uniform(0.12, 0.32)
        peak_share = generator.uniform(0.0, 1.0)
        start_level = 1.0 if peak_share < 0.15 else generator.uniform(0.2, 1.0)
        end_level = 1.0 if peak_share > 0.85 else generator.uniform(-0.3, 0.9)
        middle = ((peak_share, 1.0),) if 0.15 <= peak_share <= 0.85 else ((0.5, generator.uniform(0.6, 1.0)),)
        stroke = Stroke(
            backswing_m=backswing_m,
            backswing_s=forward_s * generator.uniform(1.6, 2.4),
            forward_s=forward_s,
            levels=((0.0, start_level), *middle, (1.0, end_level)),
            ramp="smooth" if generator.uniform() < 0.5 else "linear",
            through_s=generator.uniform(0.4, 0.6),
        )
        try:
            stroke_pieces(stroke, Putter())
        except ValueError:
            continue  # this draw would turn back on its way
        return stroke


def _concerns_ball(action: Action) -> bool:
    return isinstance(action, NewBall) or (isinstance(action, Stroke) and action.hits)


def _refuse_reversals(back: Piece, through: Piece) -> None:
    share = np.linspace(0.0, 1.0, 203)[1:-1]
    for name, piece, sign in (("backswing", back, -1), ("follow-through", through, 1)):
        if np.any(sign * join((piece,)).velocity(share * piece.duration_s) <= 0):
            raise ValueError(
                f"the {name} would turn back on its way: change its length, time or acceleration"
            )
