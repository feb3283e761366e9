"""The coin on the moving head: at rest, sliding, over the edge, falling.

The coin lies on a floor fixed in the head, held by Coulomb friction, with a wall toward the face and open
behind, or on a flat top. It is followed as a point at the centre of its lower face: at rest until the demand
exceeds the static friction, sliding in the head's turning axes with the kinetic one, off the head when its
centre passes the edge; then it tips and falls.

At impact the head loses its velocity step within about half a millisecond. In that time friction can change
the coin's velocity by about 1 mm/s, so the coin is taken to keep its own velocity while the head loses its
step: against a wall it is stopped without rebound, on a flat top it slides toward the face. The shock's
vertical part is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pennyfall.kinematics.coin.demand import HeadMotion
from pennyfall.kinematics.coin.fall import Departure, Exit, Side, fall
from pennyfall.kinematics.coin.friction import Coin, Friction, known_coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2, FloatArray

SLIDING_PIECE = 256
"""Samples turned into plain floats at a time: 64 ms of sliding."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoinRide:
    """What one friction pair does to the coin over the stroke."""

    friction: Friction
    slip_s: float | None
    """First instant the coin slides, clip time [s]; None when it never does."""
    departure: Departure | None
    """How it leaves; None when it stays on."""


def ride(
    motion: HeadMotion,
    shelf: Shelf,
    friction: Friction,
    *,
    coin: Coin | None = None,
    gravity_mps2: float = STANDARD_GRAVITY_MPS2,
) -> CoinRide:
    """Follow the coin over a stroke.

    Parameters
    ----------
    motion : HeadMotion
        Motion of the head's floor.
    shelf : Shelf
        The floor's edges and walls.
    friction : Friction
        Static and kinetic coefficient.
    coin : Coin, optional
        Its size matters against a lip or a low wall only; a US quarter where not given.
    gravity_mps2 : float
        Gravity [m/s^2].

    Notes
    -----
    With s the coin's place along the floor and w the head's turning rate, in the turning axes
    s'' = F/m - f_t + s w^2 and N/m = f_n + 2 s' w + s w' (Coriolis and Euler terms); F is the friction.
    Trapezoidal steps on the grid of `motion`; slip and leave are interpolated between samples.

    """
    coin = coin or known_coin()
    limits = _limits(shelf, coin)
    rest = _Rest(sample=0, place_m=0.0)
    slip_s: float | None = None
    while True:
        start = _next_slip(motion, limits, friction, rest)
        if start is None:
            return CoinRide(friction=friction, slip_s=slip_s, departure=None)
        slip_s = start.t_s if slip_s is None else slip_s
        stop = _slide(motion, limits, friction, start)
        if stop is None:
            return CoinRide(friction=friction, slip_s=slip_s, departure=None)
        if isinstance(stop, Exit):
            departure = fall(
                motion, shelf, stop, kinetic=friction.kinetic, coin=coin, gravity_mps2=gravity_mps2
            )
            return CoinRide(friction=friction, slip_s=slip_s, departure=departure)
        rest = stop


class _Limits(NamedTuple):
    """How far the coin's centre can go along the floor, and what demand takes it over the barrier there."""

    rear_m: float
    rear_tipping: float
    front_m: float
    front_tipping: float


class _Rest(NamedTuple):
    sample: int
    place_m: float


class _Start(NamedTuple):
    t_s: float
    sample: int
    """First sample at or after the start."""
    place_m: float
    speed_mps: float
    direction: int


def _limits(shelf: Shelf, coin: Coin) -> _Limits:
    rear_tipping = coin.tipping_demand(shelf.lip_height_m)
    rim_m = (
        coin.diameter_m / 2 if rear_tipping else 0.0
    )  # the rim meets a lip, the centre passes an open edge
    return _Limits(
        rear_m=-max(shelf.edge_distance_m - rim_m, 0.0),
        rear_tipping=rear_tipping,
        front_m=shelf.front_room_m,
        front_tipping=coin.tipping_demand(shelf.cavity_depth_m),
    )


def _next_slip(motion: HeadMotion, limits: _Limits, friction: Friction, rest: _Rest) -> _Start | None:
    """Find when the coin at rest slides next, or tips over a barrier it leans on."""
    t_s = motion.t_s[rest.sample :]
    demand = motion.tangential_mps2[rest.sample :] - rest.place_m * motion.tilt_rate_radps[rest.sample :] ** 2
    normal = motion.normal_mps2[rest.sample :] + rest.place_m * motion.tilt_acceleration_radps2[rest.sample :]
    behind = limits.rear_tipping if rest.place_m <= limits.rear_m else 0.0
    ahead = limits.front_tipping if rest.place_m >= limits.front_m else 0.0
    excess = np.maximum(
        demand - _held(max(friction.static, behind), normal),
        -demand - _held(max(friction.static, ahead), normal),
    )
    slips = np.flatnonzero(excess > 0)
    first = int(slips[0]) if len(slips) else len(t_s)

    shock = motion.impact_index - rest.sample
    if 0 <= shock <= first and shock < len(t_s):
        speed_mps = -motion.impact_step_mps * math.cos(motion.tilt_rad[motion.impact_index])
        barrier = ahead if speed_mps > 0 else behind
        if speed_mps and not barrier:
            direction = 1 if speed_mps > 0 else -1
            return _Start(float(t_s[shock]), motion.impact_index, rest.place_m, speed_mps, direction)
    if first == len(t_s):
        return None
    share = excess[first - 1] / (excess[first - 1] - excess[first]) if first else 0.0
    start_s = t_s[first - 1] + share * (t_s[first] - t_s[first - 1]) if first else t_s[0]
    direction = -1 if demand[first] > 0 else 1
    return _Start(float(start_s), rest.sample + first, rest.place_m, 0.0, direction)


def _held(coefficient: float, normal_mps2: FloatArray) -> FloatArray | float:
    return math.inf if math.isinf(coefficient) else coefficient * np.maximum(normal_mps2, 0.0)


def _slide(motion: HeadMotion, limits: _Limits, friction: Friction, start: _Start) -> _Rest | Exit | None:
    """Slide until the coin rests again, passes an edge, or the stroke ends (None)."""
    place_m, speed_mps, direction = start.place_m, start.speed_mps, start.direction
    edge_m = limits.front_m if direction > 0 else limits.rear_m
    if place_m * direction >= edge_m * direction:  # over the barrier it leaned on
        return Exit(_side(direction), start.t_s, place_m, speed_mps)
    drag = -direction * friction.kinetic
    before: list[float] = []
    for index, now in enumerate(_sliding_terms(motion, start.sample), start=start.sample):
        if index == start.sample:
            before = [start.t_s, *now[1:]]
        elif index == motion.impact_index:
            speed_mps -= motion.impact_step_mps * math.cos(motion.tilt_rad[index])
            direction = 1 if speed_mps > 0 else -1
            edge_m = limits.front_m if direction > 0 else limits.rear_m
            drag = -direction * friction.kinetic
            before = now
            continue
        step_s = now[0] - before[0]
        pull = _acceleration(before, place_m, speed_mps, drag)
        then = _acceleration(now, place_m, speed_mps + step_s * pull, drag)
        next_mps = speed_mps + step_s * (pull + then) / 2
        next_m = place_m + step_s * (speed_mps + next_mps) / 2
        if next_m * direction >= edge_m * direction:
            if limits.front_tipping if direction > 0 else limits.rear_tipping:
                return _Rest(index, edge_m)  # stopped by the barrier, without rebound
            share = (edge_m - place_m) / (next_m - place_m)
            left_mps = speed_mps + share * (next_mps - speed_mps)
            return Exit(_side(direction), before[0] + share * step_s, edge_m, left_mps)
        if next_mps * direction <= 0 and index > start.sample:
            return _Rest(index, next_m)
        place_m, speed_mps, before = next_m, next_mps, now
    return None


def _acceleration(terms: list[float], place_m: float, speed_mps: float, drag: float) -> float:
    """Return the sliding coin's acceleration along the floor; `drag` is the friction against its way."""
    _, tangential_mps2, normal_mps2, coriolis_radps, euler_radps2, centrifugal_radps2 = terms
    normal = normal_mps2 + speed_mps * coriolis_radps + place_m * euler_radps2
    held = drag * normal if normal > 0 else 0.0
    return held - tangential_mps2 + place_m * centrifugal_radps2


def _sliding_terms(motion: HeadMotion, index: int) -> Iterator[list[float]]:
    """Walk from sample `index` on: its time, its forces and what multiplies the coin's speed and place.

    A piece at a time as plain floats: numpy would take the single steps ten times slower, and most slides are
    short.
    """
    for start in range(index, len(motion.t_s), SLIDING_PIECE):
        piece = slice(start, start + SLIDING_PIECE)
        rate_radps = motion.tilt_rate_radps[piece]
        columns = (
            motion.t_s[piece],
            motion.tangential_mps2[piece],
            motion.normal_mps2[piece],
            2 * rate_radps,
            motion.tilt_acceleration_radps2[piece],
            rate_radps**2,
        )
        yield from np.column_stack(columns).tolist()


def _side(direction: int) -> Side:
    return "toward the face" if direction > 0 else "behind"
