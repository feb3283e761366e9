"""The coin on the head in the MuJoCo engine: an independent route to slip, leave and landing.

The head is a driven body, a million times heavier than the coin, whose position and velocity are set and
whose acceleration is applied at every step: a body moved by its position alone would carry no velocity into
the contact. MuJoCo's contact is soft, so a coin held by friction creeps a little: the softer, the longer its
time constant `contact_s`. It has one friction coefficient, so static and kinetic are equal here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import mujoco
import numpy as np

from pennyfall.kinematics.coin.friction import known_coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2, FloatArray
from tests.kinematics.coin_strokes import Stroke

COIN_KG = 0.00567
HEAD_KG = 1e4
ONSET_SPEEDS_MPS = (0.0025, 0.01)

MODEL = """
<mujoco>
  <option timestep="{step_s}" gravity="0 0 -{gravity}" cone="elliptic" solver="Newton" iterations="100"
    tolerance="1e-12" impratio="{impratio}" integrator="implicitfast"/>
  <default><geom solref="{contact_s} 1" solimp="0.99 0.999 0.0001" condim="3"/></default>
  <worldbody>
    <geom name="ground" type="plane" size="3 3 0.1" pos="0 0 {ground}" friction="0.5 0 0"
      contype="2" conaffinity="2"/>
    <body name="head" gravcomp="1">
      <joint name="hx" type="slide" axis="1 0 0"/><joint name="hz" type="slide" axis="0 0 1"/>
      <joint name="ht" type="hinge" axis="0 -1 0"/>
      <inertial pos="0 0 0" mass="{head_kg}" diaginertia="{head_kg} {head_kg} {head_kg}"/>
      <geom name="floor" type="box" size="{floor_half} 0.05 0.005" pos="{floor_centre} 0 -0.005"
        friction="{friction} 0 0" priority="1"/>
      <geom name="wall" type="box" size="0.005 0.05 0.005" pos="{wall} 0 0.005"
        friction="0.000001 0 0" priority="1"/>
    </body>
    <body name="coin" pos="0 0 {half_thickness}">
      <joint name="cx" type="slide" axis="1 0 0"/><joint name="cz" type="slide" axis="0 0 1"/>
      <joint name="ct" type="hinge" axis="0 -1 0"/>
      <inertial pos="0 0 0" mass="{coin_kg}" diaginertia="{coin_kgm2} {coin_kgm2} {coin_kgm2}"/>
      <geom name="coin" type="box" size="{radius} {radius} {half_thickness}" contype="3" conaffinity="3"/>
    </body>
  </worldbody>
</mujoco>
"""


@dataclass(frozen=True, slots=True)
class EngineRide:
    """What the engine says; None where it did not happen."""

    slip_s: float | None
    leave_s: float | None
    landing_x_m: float | None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Drive:
    """A head driven in its vertical plane: x, z and tilt at every step, with their two derivatives."""

    t_s: FloatArray
    place: FloatArray
    rate: FloatArray
    turn: FloatArray

    @classmethod
    def on_arc(
        cls, t_s: FloatArray, path_m: FloatArray, speed_mps: FloatArray, along_mps2: FloatArray, hub_m: float
    ) -> Drive:
        """Return the drive along an arc about a hub, from place, speed and acceleration along it."""
        angle = path_m / hub_m
        sine, cosine, across = np.sin(angle), np.cos(angle), speed_mps**2 / hub_m
        return cls(
            t_s=t_s,
            place=np.column_stack([hub_m * sine, hub_m * (1 - cosine), angle]),
            rate=np.column_stack([speed_mps * cosine, speed_mps * sine, speed_mps / hub_m]),
            turn=np.column_stack(
                [along_mps2 * cosine - across * sine, along_mps2 * sine + across * cosine, along_mps2 / hub_m]
            ),
        )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Trace:
    """Where the coin was at every step: x, z of its middle and its angle, relative to the head at address."""

    coin: FloatArray
    coin_rate: FloatArray
    landing: int | None
    """First step at which it touches the ground."""


def ride_in_mujoco(
    stroke: Stroke, shelf: Shelf, friction: float, *, contact_s: float = 0.001, step_s: float = 0.00025
) -> EngineRide:
    """Drive the head along the stroke with the coin on it."""
    t_s = np.arange(0.0, stroke.impact_s + 0.6 * stroke.through_s, step_s)
    drive = Drive.on_arc(t_s, *stroke.along(t_s), stroke.hub_m)
    trace = trace_in_mujoco(drive, shelf, friction, contact_s=contact_s, until_landing=True)
    n = len(trace.coin)
    cosine, sine = np.cos(drive.place[:n, 2]), np.sin(drive.place[:n, 2])
    drift = trace.coin_rate[:, :2] - drive.rate[:n, :2]
    x, z = (trace.coin[:, :2] - drive.place[:n, :2]).T
    past = np.flatnonzero(x * cosine + z * sine < -shelf.edge_distance_m)
    return EngineRide(
        slip_onset_s(t_s, -(drift[:, 0] * cosine + drift[:, 1] * sine)),
        float(t_s[past[0]]) if len(past) else None,
        None if trace.landing is None else float(trace.coin[trace.landing, 0]),
    )


def trace_in_mujoco(
    drive: Drive, shelf: Shelf, friction: float, *, contact_s: float = 0.001, until_landing: bool = False
) -> Trace:
    """Return the coin's way on, and off, a driven head."""
    coin = known_coin()
    radius_m, start_m = coin.diameter_m / 2, shelf.coin_from_tag_m
    model = mujoco.MjModel.from_xml_string(
        MODEL.format(
            step_s=drive.t_s[1] - drive.t_s[0],
            gravity=STANDARD_GRAVITY_MPS2,
            impratio=100,
            contact_s=contact_s,
            ground=-shelf.floor_height_m,
            head_kg=HEAD_KG,
            coin_kg=COIN_KG,
            coin_kgm2=COIN_KG * (radius_m**2 / 4 + coin.thickness_m**2 / 12),
            floor_half=(shelf.edge_distance_m + radius_m) / 2,
            floor_centre=start_m + (radius_m - shelf.edge_distance_m) / 2,
            friction=friction,
            wall=start_m + radius_m + 0.005,
            radius=radius_m,
            half_thickness=coin.thickness_m / 2,
        )
    )
    data = mujoco.MjData(model)
    disc, ground = model.geom("coin").id, model.geom("ground").id
    data.qpos[:3] = drive.place[0]
    data.qpos[3] = start_m
    coin_at, coin_rate = np.zeros((len(drive.t_s), 3)), np.zeros((len(drive.t_s), 3))
    landing: int | None = None
    for k in range(len(drive.t_s)):
        data.qpos[:3], data.qvel[:3] = drive.place[k], drive.rate[k]
        data.qfrc_applied[:3] = HEAD_KG * drive.turn[k]
        mujoco.mj_step(model, data)
        coin_at[k] = data.qpos[3], data.qpos[4] + coin.thickness_m / 2, data.qpos[5]
        coin_rate[k] = data.qvel[3:6]
        if landing is None and _touching(data, disc, ground):
            landing = k
            if until_landing:
                break
    return Trace(coin=coin_at[: k + 1], coin_rate=coin_rate[: k + 1], landing=landing)


def slip_onset_s(t_s: FloatArray, backward_mps: FloatArray) -> float | None:
    """Return when sliding began, from the coin's backward speed in the head's frame.

    While the demand passes the friction at a steady rate the speed grows with the square of the time since,
    so the onset lies as far before the lower of two speeds as the higher, four times that speed, lies behind
    it. A soft contact creeps at a few tenths of a millimetre a second, which both speeds are well above.
    """
    slow_mps, fast_mps = ONSET_SPEEDS_MPS
    fast = np.flatnonzero(backward_mps >= fast_mps)
    if not len(fast):
        return None
    crossing = int(fast[0])
    slow = int(np.flatnonzero(backward_mps[:crossing] < slow_mps)[-1]) + 1
    return float(2 * t_s[slow] - t_s[crossing])


def _touching(data: Any, one: int, other: int) -> bool:  # noqa: ANN401
    return any({data.contact[k].geom1, data.contact[k].geom2} == {one, other} for k in range(data.ncon))
