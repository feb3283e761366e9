"""A rendered clip in which a coin of known friction leaves the head, moved by a physics engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

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
    performance = performance_of(scene)
    t_s = np.arange(0.0, performance.duration_s + 0.01, STEP_S)
    drive = _drive(performance.motion.position, performance.motion.velocity,
                   performance.motion.acceleration, t_s)  # fmt: skip
    trace = trace_in_mujoco(drive, SHELF, friction)
    thickness_m = known_coin().thickness_m
    x_m = PUTTER.address_m[0] + trace.coin[:, 0]
    z_m = PUTTER.tag_height_m + trace.coin[:, 1]
    angle = trace.coin[:, 2]
    way = _way(t_s, x_m, z_m + thickness_m / 2, angle)
    coin = VisibleCoin(path=way, diameter_m=known_coin().diameter_m, colour=colour)
    render_clip(replace(scene, coin=coin if on_head else None), path)
    back = trace.coin[:, :2] - drive.place[:, :2]
    along = back[:, 0] * np.cos(drive.place[:, 2]) + back[:, 1] * np.sin(drive.place[:, 2])
    off = np.flatnonzero(along < SHELF.coin_from_tag_m - SHELF.edge_distance_m)
    return CoinTruth(
        friction=friction,
        leave_s=float(t_s[off[0]]) - scene.phase_s if len(off) else None,
        resting_x_m=float(x_m[-1]),
    )


def _drive(
    position: Callable[[FloatArray], FloatArray],
    velocity: Callable[[FloatArray], FloatArray],
    acceleration: Callable[[FloatArray], FloatArray],
    t_s: FloatArray,
) -> Drive:
    hub_m = PUTTER.hub_radius_m
    angle = np.arcsin(position(t_s) / hub_m)
    rate = velocity(t_s) / (hub_m * np.cos(angle))
    turn = (acceleration(t_s) + hub_m * np.sin(angle) * rate**2) / (hub_m * np.cos(angle))
    return Drive.on_arc(t_s, hub_m * angle, hub_m * rate, hub_m * turn, hub_m)


def _way(
    t_s: FloatArray, x_m: FloatArray, z_m: FloatArray, angle: FloatArray
) -> Callable[[float], tuple[FloatArray, FloatArray]]:
    def at(time_s: float) -> tuple[FloatArray, FloatArray]:
        x, z, a = (float(np.interp(time_s, t_s, each)) for each in (x_m, z_m, angle))
        return np.array([x, 0.0, z]), np.array([-math.sin(a), 0.0, math.cos(a)])

    return at
