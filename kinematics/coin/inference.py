"""The friction that explains where a coin left or landed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.coin.demand import HeadMotion
from pennyfall.kinematics.coin.fall import Departure
from pennyfall.kinematics.coin.friction import Coin, Friction, known_coin
from pennyfall.kinematics.coin.ride import ride
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2, Estimate, FloatArray

TRIED_FRICTIONS = np.linspace(0.02, 1.0, 99)
"""Static friction from wet to clean metal on metal (published extremes 0.15 and 0.78), in steps of 0.01."""
KINETIC_SHARES = {0.70: 0.25, 0.85: 0.5, 1.00: 0.25}
"""Kinetic over static friction with its weight; the published pairs lie between 0.68 and 1."""
GROUND_FRICTION = 0.5
"""Chosen by us, coin on turf or carpet: sets the few millimetres it slides on after landing."""
BEYOND_REACH_SDS = 3.0
"""Chosen by us: an observation further than this from all that any friction predicts is a mistake."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ObservedCoin:
    """What was seen of the coin, or typed in; missing estimates are not used."""

    leave_s: Estimate
    """Instant its centre passed the edge, clip time [s]."""
    landing_x_m: Estimate
    """Where it came to rest along the target line, from the ball [m]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class InferredFriction:
    """The friction of this coin on this head."""

    static: Estimate
    """Static coefficient [-]; its spread holds the observation, the demand and the unknown kinetic share."""
    likely_kinetic_share: float
    """Mean kinetic over static friction, given the observation [-]."""


def resting_place(departure: Departure, coin: Coin) -> Estimate:
    """Return where a landed coin comes to rest along the target line [m].

    It slides on by v^2 / (2 mu g) and falls flat from its rim; the spread is that slide and half the radius.
    """
    on_m = departure.speed_x_mps**2 / (2 * GROUND_FRICTION * STANDARD_GRAVITY_MPS2)
    value = departure.landing_x_m + math.copysign(on_m, departure.speed_x_mps)
    return Estimate(value, math.hypot(on_m / 2, coin.diameter_m / 4))


def infer_friction(
    motion: HeadMotion,
    shelf: Shelf,
    observed: ObservedCoin,
    *,
    coin: Coin | None = None,
    kinetic_share: float | None = None,
) -> InferredFriction:
    """Return the friction that explains an observed coin, by its likelihood over all frictions.

    Parameters
    ----------
    motion : HeadMotion
        The head's motion in that stroke.
    shelf : Shelf
        Where the coin lay.
    observed : ObservedCoin
        When it left, where it came to rest, or both.
    coin : Coin, optional
        A US quarter where not given.
    kinetic_share : float, optional
        Kinetic over static friction where it is known; else the published shares are weighed.

    Raises
    ------
    CannotMeasure
        When nothing was observed, or no friction puts the coin there.

    """
    if not (observed.leave_s.known or observed.landing_x_m.known):
        raise CannotMeasure(
            "Neither the coin's leaving nor its landing was observed.",
            fix="Say where it came to rest, in cm from the ball (negative: behind it).",
            setting="coin_landed",
        )
    coin = coin or known_coin()
    fine = np.linspace(TRIED_FRICTIONS[0], TRIED_FRICTIONS[-1], 4901)
    weights = KINETIC_SHARES if kinetic_share is None else {kinetic_share: 1.0}
    likelihood = np.zeros((len(weights), len(fine)))
    predicted: list[float] = []
    nearest = math.inf
    for row, (share, weight) in enumerate(weights.items()):
        departures = [
            ride(motion, shelf, Friction(static=mu, kinetic=share * mu), coin=coin).departure
            for mu in TRIED_FRICTIONS
        ]
        misfit = _misfit(departures, observed, coin, fine)
        if np.isfinite(misfit).any():
            nearest = min(nearest, float(np.nanmin(misfit)))
        likelihood[row] = weight * np.exp(-0.5 * np.nan_to_num(misfit, nan=np.inf))
        predicted += [resting_place(each, coin).value for each in departures if each is not None]
    if not nearest < BEYOND_REACH_SDS**2:
        _refuse(observed, predicted)
    static = likelihood.sum(axis=0) / likelihood.sum()
    mean = float(static @ fine)
    spread = math.sqrt(float(static @ (fine - mean) ** 2))
    shares = np.array(list(weights))
    return InferredFriction(
        static=Estimate(mean, math.hypot(spread, _demand_sd(motion, mean))),
        likely_kinetic_share=float(likelihood.sum(axis=1) @ shares / likelihood.sum()),
    )


def _misfit(
    departures: Sequence[Departure | None], observed: ObservedCoin, coin: Coin, fine: FloatArray
) -> FloatArray:
    """Return the squared misfit in standard deviations for each fine friction; NaN where it stays on."""
    places = [None if each is None else resting_place(each, coin) for each in departures]
    leave_s = np.array([math.nan if each is None else each.leave_s for each in departures])
    landing_m = np.array([math.nan if each is None else each.value for each in places])
    landing_sd_m = np.array([math.nan if each is None else each.sd for each in places])

    def finely(values: FloatArray) -> FloatArray:
        return np.interp(fine, TRIED_FRICTIONS, values)  # NaN beside a friction that holds the coin

    misfit = np.where(np.isfinite(finely(leave_s)), 0.0, np.nan)
    if observed.leave_s.known:
        misfit += ((finely(leave_s) - observed.leave_s.value) / observed.leave_s.sd) ** 2
    if observed.landing_x_m.known:
        sd_m = np.hypot(finely(landing_sd_m), observed.landing_x_m.sd)
        misfit += ((finely(landing_m) - observed.landing_x_m.value) / sd_m) ** 2
    return misfit


def _demand_sd(motion: HeadMotion, friction: float) -> float:
    """Return the spread of the demand where it first reaches the friction."""
    above = np.flatnonzero(motion.demand[: motion.impact_index] >= friction)
    return float(motion.demand_sd[above[0]]) if len(above) else float(np.mean(motion.demand_sd))


def _refuse(observed: ObservedCoin, predicted: Sequence[float]) -> None:
    if not predicted:
        raise CannotMeasure(
            "In this stroke the coin stays on at any friction that metal has, yet it was observed to leave.",
            fix="Check the shelf's lip and edge distance, and that this is the stroke in which it fell.",
        )
    seen = (
        f"at {100 * observed.landing_x_m.value:.0f} cm from the ball"
        if observed.landing_x_m.known
        else f"leaving at {observed.leave_s.value:.3f} s"
    )
    raise CannotMeasure(
        f"No friction explains a coin {seen}: in this stroke it can come to rest between "
        f"{100 * min(predicted):.0f} and {100 * max(predicted):.0f} cm from the ball.",
        fix="Check the number and its sign (negative: behind the ball), the stroke and the shelf.",
    )
