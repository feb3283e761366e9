"""Tracks in metres over true time: what the tracker hands to the kinematics."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HeadTrack:
    """The head's reference point over a whole clip, one sample a frame.

    World frame: x along the target line, positive toward the target; z up; origin under the ball at rest.
    """

    time_s: FloatArray
    """Mid-exposure time of each frame in true seconds, shape (n,); strictly increasing, not evenly spaced."""
    seen: BoolArray
    """Whether the head was located in the frame, shape (n,)."""
    x_m: FloatArray
    """Position along the target line, shape (n,) [m]; NaN where not seen."""
    y_m: FloatArray
    """Position across the target line, shape (n,) [m]; NaN where not seen."""
    z_m: FloatArray
    """Height above the floor, shape (n,) [m]; NaN where not seen."""
    sd_x_m: FloatArray
    """Standard deviation of the frame-to-frame error of x, shape (n,) [m]; scale error is not in it."""
    sd_z_m: FloatArray
    """Standard deviation of the frame-to-frame error of z, shape (n,) [m]."""
    tilt_rad: FloatArray
    """Tilt about the axis across the target line, shape (n,) [rad]; negative on the backswing side, zero at
    address, NaN where not measured."""
    sd_tilt_rad: FloatArray
    """Standard deviation of the tilt, shape (n,) [rad]."""
    exposure_s: float = math.nan
    """Exposure time of a frame; NaN where not known [s]."""
    shaken_sd_x_m: float = 0.0
    """Standard deviation of the slow error of x that a camera placed anew in every frame adds [m]."""
    turn_sd_per_m: float = 0.0
    """Standard deviation of the tilt's error that grows along the line, alike in all frames [rad/m]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BallTrack:
    """One ball: where it lay and how it left, one sample a frame in which it was located."""

    time_s: FloatArray
    """Mid-exposure time of each frame in which the ball was located, shape (m,) [s]."""
    x_m: FloatArray
    """Ball centre along the target line, shape (m,) [m], from the rest position."""
    y_m: FloatArray
    """Ball centre across the target line, shape (m,) [m], from the rest position."""
    sd_x_m: FloatArray
    """Standard deviation of the error of x, shape (m,) [m]."""
    at_rest: BoolArray
    """Whether the ball still lay at its rest position in that frame, shape (m,)."""
    rest_m: tuple[float, float] = (0.0, 0.0)
    """Its rest position along and across the target line, from the world's origin [m]."""
    speed_rel_sd: float = 0.0
    """What a doubtful outline adds to the relative standard deviation of the speed."""
    turning_sd_m: float = 0.0
    """The part of `sd_x_m` that a moving ball's turning outline causes, alike in places nearby [m]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)
