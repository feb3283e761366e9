"""The coin past the edge: it tips about the edge while it still slides, then falls to the ground."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from pennyfall.kinematics.coin.demand import GRID_STEP_S, HeadMotion
from pennyfall.kinematics.coin.friction import Coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import FloatArray

LONGEST_TIP_S = 0.3
"""Chosen by us: a coin past its balance falls off within 0.1 s; a slow one on a fleeing edge takes longer."""
TIPPING_PIECE = 80
"""Samples interpolated at a time: 20 ms, in which a coin tips off or nearly so."""

Side = Literal["behind", "toward the face"]


class Exit(NamedTuple):
    """The coin's centre passes an edge."""

    side: Side
    t_s: float
    place_m: float
    """Along the floor from where the coin lay at address [m]."""
    speed_mps: float
    """Along the floor, relative to the head [m/s]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Departure:
    """The coin passes an edge and falls."""

    side: Side
    leave_s: float
    """Instant its centre passes the edge, clip time [s]."""
    leave_x_m: float
    """Place along the target line where it leaves, from the ball [m]."""
    leave_z_m: float
    """Height above the ground where it leaves [m]."""
    landing_s: float
    """Instant it first meets the ground [s]."""
    landing_x_m: float
    """Place of its centre along the target line when it first meets the ground, from the ball [m]."""
    speed_x_mps: float
    """Velocity along the target line in flight [m/s]: what the coin still has when it lands."""


def fall(
    motion: HeadMotion, shelf: Shelf, left: Exit, *, kinetic: float, coin: Coin, gravity_mps2: float
) -> Departure:
    """Let the coin tip off the edge and fall to the ground.

    Notes
    -----
    Axes move with the edge and do not turn. With d the centre's distance past the edge, p the angle of the
    coin's face, f the edge's specific force along (u) and across (n) that face, k the disc's radius of
    gyration about a diameter, N the edge's push on a unit of mass: N (1 + d^2 / k^2) = f_n - 2 d' p',
    p'' = N d / k^2, d'' = d p'^2 - mu_k N + f_u, until N vanishes or the coin's rim passes the edge. An exit
    toward the face is the same in the mirror.

    """
    mirror = 1.0 if left.side == "behind" else -1.0
    arm_m = shelf.coin_from_tag_m + left.place_m

    def at(t_s: float, values: FloatArray) -> float:
        return float(np.interp(t_s, motion.t_s, values))

    tilt_rad = at(left.t_s, motion.tilt_rad)
    gyration_m2 = coin.diameter_m**2 / 16 + coin.thickness_m**2 / 12
    radius_m = coin.diameter_m / 2

    t_s, past_m, past_mps = left.t_s, 0.0, abs(left.speed_mps)
    angle_rad, spin_radps = mirror * tilt_rad, mirror * at(left.t_s, motion.tilt_rate_radps)
    for force_x, push_z in _edge_forces(motion, left.t_s):
        if past_m >= radius_m:
            break
        cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
        push_x = mirror * force_x
        normal = (push_z * cosine - push_x * sine - 2 * past_mps * spin_radps) / (1 + past_m**2 / gyration_m2)
        if normal <= 0:
            break
        slide = past_m * spin_radps**2 - kinetic * normal + push_x * cosine + push_z * sine
        past_mps = max(past_mps + GRID_STEP_S * slide, 0.0)
        past_m += GRID_STEP_S * past_mps
        spin_radps += GRID_STEP_S * normal * past_m / gyration_m2
        angle_rad += GRID_STEP_S * spin_radps
        t_s += GRID_STEP_S

    cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    floor_cos, floor_sin = math.cos(at(t_s, motion.tilt_rad)), math.sin(at(t_s, motion.tilt_rad))
    turn_radps = at(t_s, motion.tilt_rate_radps)
    edge_x_m = at(t_s, motion.x_m) + arm_m * floor_cos
    edge_z_m = shelf.floor_height_m + at(t_s, motion.rise_m) + arm_m * floor_sin
    edge_vx_mps = at(t_s, motion.vx_mps) - arm_m * turn_radps * floor_sin
    edge_vz_mps = at(t_s, motion.vz_mps) + arm_m * turn_radps * floor_cos
    x_m = edge_x_m - mirror * past_m * cosine
    z_m = edge_z_m - past_m * sine
    vx_mps = edge_vx_mps + mirror * (-past_mps * cosine + past_m * spin_radps * sine)
    vz_mps = edge_vz_mps - past_mps * sine - past_m * spin_radps * cosine

    flown_s = _until_touch_s(z_m, vz_mps, angle_rad, spin_radps, radius_m, gravity_mps2)
    leave = at(left.t_s, motion.x_m), shelf.floor_height_m + at(left.t_s, motion.rise_m)
    return Departure(
        side=left.side,
        leave_s=left.t_s,
        leave_x_m=leave[0] + arm_m * math.cos(tilt_rad),
        leave_z_m=leave[1] + arm_m * math.sin(tilt_rad),
        landing_s=t_s + flown_s,
        landing_x_m=x_m + vx_mps * flown_s,
        speed_x_mps=vx_mps,
    )


def _edge_forces(motion: HeadMotion, from_s: float) -> Iterator[list[float]]:
    """Walk the specific force along x and z every `GRID_STEP_S` while a coin could tip, a piece at a time."""
    until_s = min(from_s + LONGEST_TIP_S, motion.t_s[-1])
    window = slice(*np.searchsorted(motion.t_s, [from_s - 0.01, from_s + LONGEST_TIP_S]))
    grid_s = np.arange(from_s, until_s, GRID_STEP_S)
    for start in range(0, len(grid_s), TIPPING_PIECE):
        t_s = grid_s[start : start + TIPPING_PIECE]
        along, across, tilt = (
            np.interp(t_s, motion.t_s[window], values[window])
            for values in (motion.tangential_mps2, motion.normal_mps2, motion.tilt_rad)
        )
        force_x = along * np.cos(tilt) - across * np.sin(tilt)
        force_z = along * np.sin(tilt) + across * np.cos(tilt)
        yield from np.column_stack([force_x, force_z]).tolist()


def _until_touch_s(
    z_m: float, vz_mps: float, angle_rad: float, spin_radps: float, radius_m: float, gravity_mps2: float
) -> float:
    """Return the time of free flight until the turning coin's rim meets the ground."""
    at_last_s = (vz_mps + math.sqrt(vz_mps**2 + 2 * gravity_mps2 * max(z_m, 0.0))) / gravity_mps2
    t_s = np.linspace(0.0, at_last_s, max(math.ceil(at_last_s / GRID_STEP_S), 1) + 1)
    height_m = z_m + vz_mps * t_s - gravity_mps2 * t_s**2 / 2
    clearance_m = height_m - radius_m * np.abs(np.sin(angle_rad + spin_radps * t_s))
    touches = np.flatnonzero(clearance_m <= 0)
    return float(t_s[touches[0]]) if len(touches) else at_last_s
