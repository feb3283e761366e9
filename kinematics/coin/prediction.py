"""One stroke and its coin: what was said about shelf, friction and coin, and what follows."""

from __future__ import annotations

import math
from contextlib import nullcontext, suppress
from dataclasses import dataclass, replace

from pennyfall.kinematics.coin.band import (
    BAND_FRICTIONS,
    PLAUSIBLE_HUBS_M,
    loose_object_band,
    plausible_motions,
)
from pennyfall.kinematics.coin.demand import HeadMotion, TiltSource, head_motion
from pennyfall.kinematics.coin.friction import Coin, FrictionRange
from pennyfall.kinematics.coin.inference import InferredFriction, ObservedCoin, infer_friction
from pennyfall.kinematics.coin.ride import CoinRide, ride
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Estimate, LooseObjectBand, StrokeMeasures

FORWARD_SWING_NEEDED = (
    "Film from before the takeaway until after impact, with the head in the picture all the time."
)


@dataclass(frozen=True, kw_only=True, slots=True)
class CoinSetup:
    """Where the coin lies and what holds it."""

    shelf: Shelf
    friction: FrictionRange
    coin: Coin
    kinetic_share: float | None = None
    """Kinetic over static friction, where it was stated."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoinPrediction:
    """What a stroke does to the coin."""

    stroke: StrokeMeasures
    """The stroke with its `loose_object` filled."""
    band: LooseObjectBand
    setup: CoinSetup
    motion: HeadMotion
    """The head's motion; with neither tilt nor hub known, about the middle of the plausible hubs."""
    tilt_source: TiltSource
    rides: tuple[CoinRide, ...]
    """From the lowest to the highest friction."""
    inferred: InferredFriction | None
    observed: ObservedCoin | None


def predict_coin(
    stroke: StrokeMeasures, setup: CoinSetup, observed: ObservedCoin | None = None
) -> CoinPrediction:
    """Return what the stroke does to the coin, and the friction that explains an observed one.

    Where the stroke's own `loose_object` says what was seen of a coin, its place on the head decides its way
    to the rear edge, and what was seen to happen is explained; where no friction does, nothing is inferred.

    Parameters
    ----------
    stroke : StrokeMeasures
        The stroke.
    setup : CoinSetup
        Where the coin lies and what holds it.
    observed : ObservedCoin, optional
        What a person observed; it goes before what was seen.

    Raises
    ------
    CannotMeasure
        When the stroke has no forward swing, or no friction explains what was observed.

    """
    if not (stroke.top_s.known and stroke.impact_s.known) or len(stroke.profile.t_s) < 2:
        raise CannotMeasure(
            f"Stroke {stroke.number} has no forward swing from top to impact.", fix=FORWARD_SWING_NEEDED
        )
    sight = stroke.loose_object
    if sight is not None and sight.place_on_head_m.known:
        setup = replace(setup, shelf=setup.shelf.with_coin_at(sight.place_on_head_m.value))
    impact_s, hub_radius_m = stroke.impact_s.value, stroke.hub_radius_m.value
    motions = plausible_motions(stroke.profile, impact_s=impact_s, hub_radius_m=hub_radius_m)
    known = motions[0].tilt_source if len(motions) == 1 else "none"
    motion = motions[0]
    if known == "none":
        middle_m = math.sqrt(PLAUSIBLE_HUBS_M[0] * PLAUSIBLE_HUBS_M[1])
        motion = head_motion(stroke.profile, impact_s=impact_s, hub_radius_m=middle_m)
    band = loose_object_band(
        stroke.profile,
        setup.shelf,
        setup.friction,
        impact_s=impact_s,
        hub_radius_m=hub_radius_m,
        coin=setup.coin,
    )
    together = _together(sight, observed)
    inferred = None
    if together is not None:
        with suppress(CannotMeasure) if observed is None else nullcontext():
            inferred = infer_friction(
                motion, setup.shelf, together, coin=setup.coin, kinetic_share=setup.kinetic_share
            )
    band = replace(
        band,
        seen="not told" if sight is None else sight.seen,
        place_on_head_m=Estimate.missing() if sight is None else sight.place_on_head_m,
        observed_leave_s=Estimate.missing() if together is None else together.leave_s,
        observed_landing_x_m=Estimate.missing() if together is None else together.landing_x_m,
    )
    return CoinPrediction(
        stroke=replace(stroke, loose_object=band),
        band=band,
        setup=setup,
        motion=motion,
        tilt_source=known,
        rides=tuple(
            ride(motion, setup.shelf, pair, coin=setup.coin) for pair in setup.friction.spread(BAND_FRICTIONS)
        ),
        inferred=inferred,
        observed=together,
    )


def _together(sight: LooseObjectBand | None, observed: ObservedCoin | None) -> ObservedCoin | None:
    """Return what was observed by eye or picture; None where nothing was."""
    if sight is None or sight.seen != "left":
        return observed
    seen = ObservedCoin(leave_s=sight.observed_leave_s, landing_x_m=sight.observed_landing_x_m)
    if observed is None:
        return seen if seen.leave_s.known or seen.landing_x_m.known else None
    return ObservedCoin(
        leave_s=observed.leave_s if observed.leave_s.known else seen.leave_s,
        landing_x_m=observed.landing_x_m if observed.landing_x_m.known else seen.landing_x_m,
    )
