"""A coin's way: it rides on the head, falls freely from where it leaves it, and lies on the floor."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from pennyfall.demo_clips.ball import GRAVITY_MPS2
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.strokes import Performance
from pennyfall.kinematics.values import FloatArray

COIN_THICKNESS_M = 0.00238  # 50 euro cent, Council Regulation (EC) 975/98 and two agreeing tables
DIFFERENCE_S = 1e-6


def coin_path(
    performance: Performance,
    putter: Putter,
    *,
    seat_m: tuple[float, float, float],
    leave_s: float,
    slid_m: Callable[[float], float] = lambda t_s: 0.0,
) -> Callable[[float], tuple[FloatArray, FloatArray]]:
    """Return the path of a coin for `scene.Coin`.

    Parameters
    ----------
    performance, putter : Performance, Putter
        What carries it.
    seat_m : tuple of float
        The coin's centre while it lies still, in head axes [m].
    leave_s : float
        When it leaves the head, infinite if never [s].
    slid_m : callable
        How far it has slid to the rear, along the head's x axis, at a time [s] -> [m]; the caller's physics.

    Returns
    -------
    callable
        Centre [m] and unit normal at a time [s], shape (3,) each. It falls without drag or turning, and
        does not bounce.

    """
    seat = np.array(seat_m)

    def ride(t_s: float) -> tuple[FloatArray, FloatArray]:
        rotation, origin = putter.pose(float(performance.motion.position(np.array(t_s))))
        return origin + rotation @ (seat - [slid_m(t_s), 0.0, 0.0]), rotation[:, 2]

    if math.isinf(leave_s):
        return ride
    start, normal = ride(leave_s)
    velocity = (start - ride(leave_s - DIFFERENCE_S)[0]) / DIFFERENCE_S
    landing_s = leave_s + fall_time_s(start[2] - COIN_THICKNESS_M / 2, velocity[2])

    def path(t_s: float) -> tuple[FloatArray, FloatArray]:
        if t_s < leave_s:
            return ride(t_s)
        fallen = min(t_s, landing_s) - leave_s
        place = start + velocity * fallen - np.array([0.0, 0.0, GRAVITY_MPS2 * fallen**2 / 2])
        return place, normal if t_s < landing_s else np.array([0.0, 0.0, 1.0])

    return path


def fall_time_s(height_m: float, rising_mps: float) -> float:
    """Return how long a body takes to fall from a height, given its speed upward [s]."""
    return (rising_mps + math.sqrt(rising_mps**2 + 2 * GRAVITY_MPS2 * height_m)) / GRAVITY_MPS2
