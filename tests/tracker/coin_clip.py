"""A rendered clip in which a coin of known friction leaves the head, moved by a physics engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pennyfall.demo_clips.motion import Displacement
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import performance_of, render_clip
from pennyfall.demo_clips.scene import Colour, Encoding, Scene, VisibleCoin, aim_camera
from pennyfall.demo_clips.strokes import Rest, Stroke
from pennyfall.kinematics.coin.friction import known_coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import FloatArray
from tests.kinematics.coin_in_mujoco import Drive, trace_in_mujoco

STEP_S = 0.00025
PUTTER = Putter(gap_m=0.004, tag_height_m=0.0285)
SHELF = Shelf(floor_height_m=0.0285, edge_distance_m=0.013, cavity_depth_m=0.005, coin_from_tag_m=-0.029)
"""The coin lies on the head's flat top, between the tag and the rear edge."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoinTruth:
    """What the engine did."""

    friction: float
    leave_s: float | None
    """From the clip's first frame [s]; None where it stays on."""
    resting_x_m: float


def render_coin_clip(
    path: Path,
    friction: float,
    *,
    name: str = "larch-coin",
    colour: Colour = (0.65, 0.52, 0.22),
    on_head: bool = True,
) -> CoinTruth:
    """Render the clip and return its truth; static and kinetic friction are equal."""
    scene = Scene(
        name=name,
        script=(Rest(0.45), Stroke(backswing_m=0.26, backswing_s=0.60, forward_s=0.30), Rest(0.35)),
        putter=PUTTER,
        camera=aim_camera(position_m=(-0.04, -0.95, 0.85), look_at_m=(-0.05, -0.02, 0.0), focal_px=1060),
        encoding=Encoding(crf=20),
        seed=41,
    )
    engine = engine_way(scene, SHELF, friction)
    way = _way(engine.t_s, engine.x_m, engine.z_m, engine.turn_rad)
    coin = VisibleCoin(path=way, diameter_m=known_coin().diameter_m, colour=colour)
    render_clip(replace(scene, coin=coin if on_head else None), path)
    return CoinTruth(
        friction=friction,
        leave_s=None if engine.leave_s is None else engine.leave_s - scene.phase_s,
        resting_x_m=float(engine.x_m[-1]),
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class EngineWay:
    """Where the engine takes a coin, shape (n,) each, on the model clock."""

    t_s: FloatArray
    x_m: FloatArray
    z_m: FloatArray
    turn_rad: FloatArray
    leave_s: float | None


def engine_way(scene: Scene, shelf: Shelf, friction: float) -> EngineWay:
    """Drive the head of a scene in the engine with a coin on it."""
    performance, putter = performance_of(scene), scene.putter
    t_s = np.arange(0.0, performance.duration_s + 0.01, STEP_S)
    drive = _drive(performance.motion, putter.hub_radius_m, t_s)
    trace = trace_in_mujoco(drive, shelf, friction)
    back = trace.coin[:, :2] - drive.place[:, :2]
    along = back[:, 0] * np.cos(drive.place[:, 2]) + back[:, 1] * np.sin(drive.place[:, 2])
    off = np.flatnonzero(along < shelf.coin_from_tag_m - shelf.edge_distance_m)
    return EngineWay(
        t_s=t_s,
        x_m=putter.address_m[0] + trace.coin[:, 0],
        z_m=putter.tag_height_m + trace.coin[:, 1] + known_coin().thickness_m / 2,
        turn_rad=trace.coin[:, 2],
        leave_s=float(t_s[off[0]]) if len(off) else None,
    )


def _drive(motion: Displacement, hub_m: float, t_s: FloatArray) -> Drive:
    angle = np.arcsin(motion.position(t_s) / hub_m)
    rate = motion.velocity(t_s) / (hub_m * np.cos(angle))
    turn = (motion.acceleration(t_s) + hub_m * np.sin(angle) * rate**2) / (hub_m * np.cos(angle))
    return Drive.on_arc(t_s, hub_m * angle, hub_m * rate, hub_m * turn, hub_m)


def _way(
    t_s: FloatArray, x_m: FloatArray, z_m: FloatArray, angle: FloatArray
) -> Callable[[float], tuple[FloatArray, FloatArray]]:
    def at(time_s: float) -> tuple[FloatArray, FloatArray]:
        x, z, a = (float(np.interp(time_s, t_s, each)) for each in (x_m, z_m, angle))
        return np.array([x, 0.0, z]), np.array([-math.sin(a), 0.0, math.cos(a)])

    return at
