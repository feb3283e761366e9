"""At which putt lengths the coin leaves in the transition by itself, for one student."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pennyfall.kinematics.coin.band import plausible_motions
from pennyfall.kinematics.coin.demand import HeadMotion
from pennyfall.kinematics.coin.friction import Coin, FrictionRange
from pennyfall.kinematics.coin.ride import ride
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import FOOT_M
from pennyfall.kinematics.putt.scaling import Putt, Scaling, fit_scaling, grown_profile
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import INTERVAL_SDS, Estimate

PLAN_LENGTHS_M = tuple(feet * FOOT_M for feet in range(3, 31))
"""Chosen by us: the lengths looked at; which of them the drill tells anything at is the student's own."""
TRANSITION_SHARE = 0.5
"""Chosen by us: a coin that leaves before half of the forward swing left in the transition."""
CLEAR_SHARE = 0.9
"""Chosen by us: nine in ten of the strokes, at the ends of the scaling's interval too, must agree."""
PLAN_STEP_S = 0.001
"""Chosen by us: a verdict needs no quarter of a millisecond, and a plan rides a thousand coins."""

Verdict = Literal["leaves", "doubtful", "stays"]


@dataclass(frozen=True, kw_only=True, slots=True)
class PlannedLength:
    """What a putt of one length would do."""

    length_m: float
    """Length of the putt [m]."""
    demand_at_top: Estimate
    """Friction demand at the top of the backswing [-]; the spread holds strokes, measurement and scaling."""
    backswing_m: float
    """Expected amplitude [m]."""
    forward_s: float
    """Expected forward-swing time [s]."""
    verdict: Verdict
    """'leaves' in the transition by itself at any friction of the range, 'stays' on through it at any, else
    'doubtful'."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """The drill's lengths for one student."""

    lengths: tuple[PlannedLength, ...]
    scaling: Scaling
    friction: FrictionRange
    measured: tuple[tuple[float, Estimate], ...]
    """The strokes it rests on, by length: length of the putt [m] and friction demand at the top [-]."""

    def band(self, verdict: Verdict) -> tuple[float, float] | None:
        """Return the shortest and the longest putt with a verdict [m]."""
        lengths_m = [each.length_m for each in self.lengths if each.verdict == verdict]
        return (min(lengths_m), max(lengths_m)) if lengths_m else None


def plan_lengths(
    putts: Sequence[Putt],
    shelf: Shelf,
    friction: FrictionRange,
    *,
    coin: Coin | None = None,
    lengths_m: Sequence[float] = PLAN_LENGTHS_M,
) -> Plan:
    """Scale a student's strokes to other putt lengths and ride the coin on each.

    Parameters
    ----------
    putts : sequence of Putt
        The student's measured strokes.
    shelf : Shelf
        Where the coin lies.
    friction : FrictionRange
        Static friction with its kinetic share.
    coin : Coin, optional
        Its size matters against a lip only.
    lengths_m : sequence of float
        Putt lengths to plan for [m].

    Raises
    ------
    CannotMeasure
        When there is no stroke.

    """
    if not putts:
        raise CannotMeasure(
            "There is no stroke to plan from.",
            fix="Give at least one measurement file with a whole stroke in it.",
        )
    scaling = fit_scaling(putts)
    return Plan(
        lengths=tuple(_planned(putts, scaling, shelf, friction, coin, length_m) for length_m in lengths_m),
        scaling=scaling,
        friction=friction,
        measured=tuple(
            (each.length_m, _demand_measured(each, scaling))
            for each in sorted(putts, key=lambda each: each.length_m)
        ),
    )


def _demand_measured(putt: Putt, scaling: Scaling) -> Estimate:
    """Return the demand at the top of the stroke as it was."""
    demands = _grow(putt, scaling, putt.length_m, (0.0, 0.0)).demands_at_top()
    spread = float(np.std([each.value for each in demands]))
    mean_sd = float(np.mean([each.sd for each in demands]))
    return Estimate(float(np.mean([each.value for each in demands])), float(np.hypot(mean_sd, spread)))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Grown:
    """One stroke scaled to another length, at one end of the scaling's spread."""

    motions: tuple[HeadMotion, ...]
    top_s: float
    forward_s: float
    backswing_m: float

    def demands_at_top(self) -> list[Estimate]:
        return [
            Estimate(
                float(np.interp(self.top_s, motion.t_s, motion.demand)),
                float(np.interp(self.top_s, motion.t_s, motion.demand_sd)),
            )
            for motion in self.motions
        ]

    def leaves_in_transition(
        self, shelf: Shelf, friction: FrictionRange, static: float, coin: Coin | None
    ) -> list[bool]:
        limit_s = self.top_s + TRANSITION_SHARE * self.forward_s
        rides = [ride(motion, shelf, friction.at(static), coin=coin) for motion in self.motions]
        return [each.departure is not None and each.departure.leave_s <= limit_s for each in rides]


def _grow(each: Putt, scaling: Scaling, length_m: float, sds: tuple[float, float]) -> _Grown:
    ratio = length_m / each.length_m
    amplitude = ratio ** (scaling.amplitude_power.value + sds[0] * scaling.amplitude_power.sd)
    time = ratio ** (scaling.time_power.value + sds[1] * scaling.time_power.sd)
    stroke = each.stroke
    return _Grown(
        motions=plausible_motions(
            grown_profile(stroke.profile, amplitude=amplitude, time=time),
            impact_s=stroke.impact_s.value * time,
            hub_radius_m=stroke.hub_radius_m.value,
            step_s=PLAN_STEP_S,
        ),
        top_s=stroke.top_s.value * time,
        forward_s=each.forward_s * time,
        backswing_m=stroke.backswing_length_m.value * amplitude,
    )


def _planned(
    putts: Sequence[Putt],
    scaling: Scaling,
    shelf: Shelf,
    friction: FrictionRange,
    coin: Coin | None,
    length_m: float,
) -> PlannedLength:
    # one deviation at a time, a power at either end of its 95 % interval, as in a first-order error budget
    middle = [_grow(each, scaling, length_m, (0.0, 0.0)) for each in putts]
    aside = [
        [_grow(each, scaling, length_m, sds) for each in putts]
        for sds in ((INTERVAL_SDS, 0.0), (-INTERVAL_SDS, 0.0), (0.0, INTERVAL_SDS), (0.0, -INTERVAL_SDS))
    ]
    demands = [demand for each in middle for demand in each.demands_at_top()]
    mean = float(np.mean([each.value for each in demands]))
    shifts = [float(np.mean([d.value for each in grown for d in each.demands_at_top()])) for grown in aside]
    variance = (
        float(np.var([each.value for each in demands]))
        + float(np.mean([each.sd**2 for each in demands]))
        + ((shifts[0] - shifts[1]) / (2 * INTERVAL_SDS)) ** 2
        + ((shifts[2] - shifts[3]) / (2 * INTERVAL_SDS)) ** 2
    )
    strokes = [*middle, *(each for grown in aside for each in grown)]
    at_high, at_low = (
        float(
            np.mean(
                [
                    left
                    for each in strokes
                    for left in each.leaves_in_transition(shelf, friction, static, coin)
                ]
            )
        )
        for static in (friction.high, friction.low)
    )
    return PlannedLength(
        length_m=length_m,
        demand_at_top=Estimate(mean, float(np.sqrt(variance))),
        backswing_m=float(np.mean([each.backswing_m for each in middle])),
        forward_s=float(np.mean([each.forward_s for each in middle])),
        verdict="leaves" if at_high >= CLEAR_SHARE else "stays" if at_low <= 1 - CLEAR_SHARE else "doubtful",
    )
