"""A loose coin on the head, by Coulomb friction: it rides, slides back, tips off, falls and lies.

Computed from the exact motion and for the scenes alone: what predicts a coin from a clip has no part in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pennyfall.calibration.layout import HEAD_TAG_BORDER_M
from pennyfall.demo_clips.ball import GRAVITY_MPS2
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.scene import Colour, Scene, VisibleCoin
from pennyfall.demo_clips.strokes import Performance, perform
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import FloatArray, freeze_arrays

STEP_S = 0.0001
"""Chosen by us: a coin that slides at 1 m/s moves a tenth of a millimetre in it."""
CARD_M = 0.0015
"""Chosen by us: thickness of the tag's card, most of a coin's."""
GAP_M = 0.0005
"""Chosen by us: between the tag's card and the coin laid against it."""
FLOOR_FRICTION = 0.5
"""Chosen by us, coin on carpet: sets the few millimetres it slides on after landing."""
FLATTENING_S = 0.03
"""Chosen by us: from the first touch of its rim until the coin lies flat."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LooseCoin:
    """A coin laid on the head's top against the tag's card, which is thick enough to stop it there."""

    static_friction: float
    """Tangential over normal force at which it starts to slide [-]."""
    kinetic_friction: float
    """The same while it slides [-]."""
    diameter_m: float = 0.02426
    """A US quarter's, 31 USC 5112(a)(3) [m]."""
    thickness_m: float = 0.00175
    """A US quarter's, from a published coin table [m]."""
    colour: Colour = (0.62, 0.60, 0.55)
    """Reflectance."""

    def shelf(self, putter: Putter) -> Shelf:
        """Return where it lies on that putter, as a ruler would say."""
        from_tag_m = -(putter.tag_side_m / 2 + HEAD_TAG_BORDER_M + GAP_M + self.diameter_m / 2)
        return Shelf(
            floor_height_m=putter.tag_height_m,
            edge_distance_m=from_tag_m - (putter.tag_to_face_m - putter.depth_m),
            cavity_depth_m=CARD_M,
            coin_from_tag_m=from_tag_m,
        )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoinWay:
    """Where the coin is at every instant; called with a time, it is the path of a `VisibleCoin`."""

    coin: LooseCoin
    shelf: Shelf
    """Where it lies at address, as a ruler would say."""
    centre_m: FloatArray
    """Its centre, x and z, every `STEP_S` of the model clock, shape (n, 2) [m]."""
    turn_rad: FloatArray
    """How far it is turned, as the head's swing angle is: negative with its front low, shape (n,) [rad]."""
    leave_s: float | None
    """When its centre passes the head's rear edge; None where it stays on [s]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def __call__(self, time_s: float) -> tuple[FloatArray, FloatArray]:
        """Return its centre [m] and unit normal at a time [s], shape (3,) each."""
        at = min(max(time_s / STEP_S, 0.0), len(self.turn_rad) - 1.001)
        k = int(at)
        place = self.centre_m[k] + (at - k) * (self.centre_m[k + 1] - self.centre_m[k])
        turn = float(self.turn_rad[k] + (at - k) * (self.turn_rad[k + 1] - self.turn_rad[k]))
        return np.array([place[0], 0.0, place[1]]), np.array([-math.sin(turn), 0.0, math.cos(turn)])


def with_coin(scene: Scene, coin: LooseCoin) -> Scene:
    """Return the scene with a coin on the head that goes where friction lets it.

    Raises
    ------
    ValueError
        Where the head does not swing in the vertical plane, in which alone the coin's way is computed.

    """
    performance = perform(scene.script, scene.putter, scene.ball_friction, scene.rolling_mps2)
    way = coin_way(performance, scene.putter, coin)
    return replace(scene, coin=VisibleCoin(path=way, diameter_m=coin.diameter_m, colour=coin.colour))


def coin_way(performance: Performance, putter: Putter, coin: LooseCoin) -> CoinWay:
    """Return a coin's way through a performance.

    Notes
    -----
    The head is a rigid body turning about its hub by an angle p(t); R is the hub's height above the coin's
    floor, s the coin's place along that floor. In the turning axes s'' = F/m - R p'' - g sin(p) + s p'^2 and
    N/m = R p'^2 + g cos(p) + s p'' + 2 s' p'. Impact takes speed from the head and none from the coin.

    """
    if putter.plane_tilt_rad:
        raise ValueError("a coin's way is known only on a head that swings in the vertical plane")
    head = _Head(performance, putter)
    shelf = coin.shelf(putter)
    seat_m, edge_m = shelf.coin_from_tag_m, shelf.coin_from_tag_m - shelf.edge_distance_m
    place_m, exit_mps = _ride(head, _jolts(performance), coin, seat_m, edge_m)
    on_head = len(place_m)
    bodies = [_Body(*head.point(k, s, coin.thickness_m / 2), head.angle[k]) for k, s in enumerate(place_m)]
    if exit_mps is not None:
        bodies += _tip(head, on_head, edge_m, exit_mps, coin)
        bodies += _fall(bodies[-1], len(head.angle) - len(bodies), coin)
    return CoinWay(
        coin=coin,
        shelf=shelf,
        centre_m=np.array([(each.x_m, each.z_m) for each in bodies]),
        turn_rad=np.array([each.turn_rad for each in bodies]),
        leave_s=None if exit_mps is None else on_head * STEP_S,
    )


class _Body(NamedTuple):
    """The coin at one instant."""

    x_m: float
    z_m: float
    turn_rad: float
    vx_mps: float = 0.0
    vz_mps: float = 0.0
    spin_radps: float = 0.0


class _Head:
    """The head's turn about its hub every `STEP_S`, with two derivatives, as plain floats."""

    def __init__(self, performance: Performance, putter: Putter) -> None:
        self.hub_x_m, _, self.hub_z_m = (float(each) for each in putter.hub_m)
        self.radius_m = putter.hub_radius_m
        t_s = np.arange(0.0, performance.duration_s + 2 * STEP_S, STEP_S)
        motion = performance.motion
        angle = np.arcsin(motion.position(t_s) / self.radius_m)
        rate = motion.velocity(t_s) / (self.radius_m * np.cos(angle))
        along = motion.acceleration(t_s) + self.radius_m * np.sin(angle) * rate**2
        self.angle: list[float] = angle.tolist()
        self.rate: list[float] = rate.tolist()
        self.turning: list[float] = (along / (self.radius_m * np.cos(angle))).tolist()

    def point(self, k: int, along_m: float, above_m: float = 0.0) -> tuple[float, float]:
        """Return where a point of the head is at a step, from the tag along its top and above it [m]."""
        sine, cosine, down_m = math.sin(self.angle[k]), math.cos(self.angle[k]), self.radius_m - above_m
        return (
            self.hub_x_m + down_m * sine + along_m * cosine,
            self.hub_z_m - down_m * cosine + along_m * sine,
        )

    def force(self, k: int, along_m: float) -> tuple[float, float]:
        """Return what a unit of mass resting on the head feels, along its top and out of it [m/s^2]."""
        angle, rate, turning = self.angle[k], self.rate[k], self.turning[k]
        return (
            self.radius_m * turning - along_m * rate**2 + GRAVITY_MPS2 * math.sin(angle),
            self.radius_m * rate**2 + along_m * turning + GRAVITY_MPS2 * math.cos(angle),
        )


def _jolts(performance: Performance) -> dict[int, float]:
    """Return the speed that impact takes from the head, by the first step after it [m/s]."""
    return {
        math.ceil(each.impact_s / STEP_S): each.speed_before_mps - each.speed_after_mps
        for each in performance.strokes
    }


def _ride(
    head: _Head, jolts: dict[int, float], coin: LooseCoin, seat_m: float, edge_m: float
) -> tuple[list[float], float | None]:
    """Return the coin's place on the head at every step up to the edge, and its speed there or None."""
    place_m, speed_mps = seat_m, 0.0
    places: list[float] = []
    for k, rate in enumerate(head.rate):
        speed_mps += jolts.get(k, 0.0) * math.cos(head.angle[k])
        force, out = head.force(k, place_m)
        press = out + 2 * speed_mps * rate
        if speed_mps or abs(force) > coin.static_friction * press:
            against = -math.copysign(1.0, speed_mps or -force)
            faster = speed_mps + STEP_S * (against * coin.kinetic_friction * press - force)
            speed_mps = 0.0 if faster * speed_mps < 0 else faster
            place_m += STEP_S * speed_mps
        if place_m > seat_m:  # the tag's card stops it, without rebound
            place_m, speed_mps = seat_m, 0.0
        if place_m < edge_m:
            return places, speed_mps
        places.append(place_m)
    return places, None


def _tip(head: _Head, start: int, edge_m: float, speed_mps: float, coin: LooseCoin) -> list[_Body]:
    """Return the coin from the step at which its centre passes the edge until it touches the head no more.

    With d the centre's way past the edge, q the coin's turn, f what a unit of mass on the edge feels along
    and out of the coin's face, and k the coin's radius of gyration: N (1 + d^2 / k^2) = f_n - 2 d' q',
    q'' = N d / k^2, d'' = d q'^2 + f_t - mu N.
    """
    gyration_m2 = coin.diameter_m**2 / 16 + coin.thickness_m**2 / 12
    past_m, past_mps, turn, spin = 0.0, -speed_mps, head.angle[start], head.rate[start]
    bodies = []
    for k in range(start, len(head.angle)):
        ahead = turn - head.angle[k]
        cosine, sine = math.cos(ahead), math.sin(ahead)
        along, out = head.force(k, edge_m)
        press = (out * cosine - along * sine - 2 * past_mps * spin) / (1 + past_m**2 / gyration_m2)
        if past_m > coin.diameter_m / 2 or press <= 0:
            break
        slide = past_m * spin**2 + along * cosine + out * sine - coin.kinetic_friction * press
        past_mps = max(past_mps + STEP_S * slide, 0.0)
        past_m += STEP_S * past_mps
        spin += STEP_S * press * past_m / gyration_m2
        turn += STEP_S * spin
        bodies.append(_past_edge(head, k, edge_m, (past_m, past_mps), (turn, spin), coin.thickness_m / 2))
    return bodies


def _past_edge(
    head: _Head,
    k: int,
    edge_m: float,
    past: tuple[float, float],
    turn: tuple[float, float],
    above_m: float,
) -> _Body:
    """Return the coin whose face touches the edge; way past it and turn come with their rates."""
    (x, z), sine, cosine = head.point(k, edge_m), math.sin(turn[0]), math.cos(turn[0])
    edge_mps = (head.rate[k] * (head.hub_z_m - z), head.rate[k] * (x - head.hub_x_m))
    x += -past[0] * cosine - above_m * sine
    z += -past[0] * sine + above_m * cosine
    vx = edge_mps[0] - past[1] * cosine + past[0] * turn[1] * sine
    vz = edge_mps[1] - past[1] * sine - past[0] * turn[1] * cosine
    return _Body(x, z, turn[0], vx, vz, turn[1])


def _fall(left: _Body, steps: int, coin: LooseCoin) -> list[_Body]:
    """Return the coin from where it left: it falls, its rim touches, and it lies down as it slides to rest.

    At the touch the floor takes its speed of fall, without rebound, and by friction as much as that allows of
    the speed along the line.
    """
    bodies, now = [], left
    for _ in range(steps):
        if _clearance(now, coin) <= 0:
            break
        vz = now.vz_mps - STEP_S * GRAVITY_MPS2
        now = _Body(now.x_m + STEP_S * now.vx_mps, now.z_m + STEP_S * vz,
                    now.turn_rad + STEP_S * now.spin_radps, now.vx_mps, vz, now.spin_radps)  # fmt: skip
        bodies.append(now)
    since_s = STEP_S * np.arange(1, steps - len(bodies) + 1)
    flat = math.pi * round(now.turn_rad / math.pi)
    turn = flat + (now.turn_rad - flat) * np.clip(1 - since_s / FLATTENING_S, 0.0, 1.0)
    onward = math.copysign(1.0, now.vx_mps)
    slides_mps = max(abs(now.vx_mps) - FLOOR_FRICTION * abs(now.vz_mps), 0.0)
    sliding_s = np.minimum(since_s, slides_mps / (FLOOR_FRICTION * GRAVITY_MPS2))
    x_m = now.x_m + onward * (slides_mps - FLOOR_FRICTION * GRAVITY_MPS2 * sliding_s / 2) * sliding_s
    z_m = coin.diameter_m / 2 * np.abs(np.sin(turn)) + coin.thickness_m / 2
    return bodies + [_Body(*row) for row in np.column_stack([x_m, z_m, turn]).tolist()]


def _clearance(body: _Body, coin: LooseCoin) -> float:
    return body.z_m - coin.thickness_m / 2 - coin.diameter_m / 2 * abs(math.sin(body.turn_rad))
