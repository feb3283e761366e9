"""Where a loose coin slips, leaves and lands, as bands over a range of friction."""

from __future__ import annotations

import math

import numpy as np

from pennyfall.kinematics.coin.demand import GRID_STEP_S, HeadMotion, head_motion
from pennyfall.kinematics.coin.friction import Coin, FrictionRange
from pennyfall.kinematics.coin.ride import ride
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2, Estimate, LooseObjectBand, Profile

BAND_FRICTIONS = 17
"""Chosen by us: over the widest published range neighbours differ by 0.02 or less."""
PLAUSIBLE_HUBS_M = (1.0, 2.5)
"""Chosen by us: from a stroke about the hands to a shoulder stroke with a flattened arc; used only where
neither the tag's tilt nor the arc's radius is known."""


def loose_object_band(
    profile: Profile,
    shelf: Shelf,
    friction: FrictionRange,
    *,
    impact_s: float,
    hub_radius_m: float = math.nan,
    coin: Coin | None = None,
    gravity_mps2: float = STANDARD_GRAVITY_MPS2,
) -> LooseObjectBand:
    """Return where the coin leaves and lands, as bands over a range of friction.

    Parameters
    ----------
    profile : Profile
        The smoothed stroke; its first sample is at address.
    shelf : Shelf
        The floor's edges and walls.
    friction : FrictionRange
        Lowest and highest static friction, with the kinetic share.
    impact_s : float
        Impact, clip time [s]; NaN where the head meets nothing.
    hub_radius_m : float
        Radius of the head's arc [m]; NaN where unknown. With neither this nor a tilt from the tag, the band
        covers both ends of the plausible hubs (`PLAUSIBLE_HUBS_M`) and is wide for that reason.
    coin : Coin, optional
        Its size matters against a lip or a low wall only.
    gravity_mps2 : float
        Gravity [m/s^2].

    """
    motions = plausible_motions(
        profile, impact_s=impact_s, hub_radius_m=hub_radius_m, gravity_mps2=gravity_mps2
    )
    rides = [
        ride(motion, shelf, pair, coin=coin, gravity_mps2=gravity_mps2)
        for motion in motions
        for pair in friction.spread(BAND_FRICTIONS)
    ]
    departures = [each.departure for each in rides if each.departure is not None]
    return LooseObjectBand(
        friction=(friction.low, friction.high),
        outcome="stays on" if not departures else "leaves" if len(departures) == len(rides) else "either",
        peak_friction_demand=_over_motions([peak_demand(motion) for motion in motions]),
        slip_s=_band([each.slip_s for each in rides if each.slip_s is not None]),
        leave_s=_band([each.leave_s for each in departures]),
        leave_x_m=_band([each.leave_x_m for each in departures]),
        landing_x_m=_band([each.landing_x_m for each in departures]),
    )


def plausible_motions(
    profile: Profile,
    *,
    impact_s: float,
    hub_radius_m: float = math.nan,
    gravity_mps2: float = STANDARD_GRAVITY_MPS2,
    step_s: float = GRID_STEP_S,
) -> tuple[HeadMotion, ...]:
    """Return the head's motion; one for each plausible hub where neither tilt nor hub radius is known."""

    def about(radius_m: float) -> HeadMotion:
        return head_motion(
            profile, impact_s=impact_s, hub_radius_m=radius_m, gravity_mps2=gravity_mps2, step_s=step_s
        )

    motion = about(hub_radius_m)
    return (motion,) if motion.tilt_source != "none" else tuple(map(about, PLAUSIBLE_HUBS_M))


def peak_demand(motion: HeadMotion) -> Estimate:
    """Return the largest friction demand before impact, with the standard deviation at that instant [-]."""
    peak = int(np.argmax(motion.demand[: motion.impact_index]))
    return Estimate(float(motion.demand[peak]), float(motion.demand_sd[peak]))


def peak_demand_time_s(motion: HeadMotion) -> float:
    """Return the instant of the largest friction demand before impact, clip time [s]."""
    return float(motion.t_s[np.argmax(motion.demand[: motion.impact_index])])


def _over_motions(peaks: list[Estimate]) -> Estimate:
    values = [peak.value for peak in peaks]
    return Estimate(float(np.mean(values)), math.hypot(peaks[0].sd, (max(values) - min(values)) / 2))


def _band(values: list[float]) -> tuple[float, float] | None:
    return (min(values), max(values)) if values else None
