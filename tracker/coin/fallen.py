"""The fallen coin in the clip: a new disc of its size on the floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.coin.pieces import Piece

FLOOR_STEP_M = 0.001
"""Chosen by us: about a pixel of a 720p clip from 1.1 m."""
FLOOR_Y_M = (-0.30, 0.30)
"""Chosen by us: how far to the side a coin that fell off the head is looked for."""
BALL_CLEARANCE_M = 0.06
"""Chosen by us: the ball and what it hides; a coin lying there is not found."""
LEAST_CONTRAST = 8.0
"""Chosen by us: grey levels between a new disc and the floor; noise of a median of frames is below 2."""
LEAST_FILL, MOST_SPILL = 0.75, 0.25
"""Chosen by us: share of the disc, and of the ring about it, that must have changed, and may have."""
CANDIDATES = 30
PLACE_SD_M = 0.002
"""Chosen by us: rim shading and the coin's thickness shift its middle by no more."""

Luma = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True, slots=True)
class RestingCoin:
    """A coin lying on the floor that was not there before."""

    x_m: Estimate
    """Its middle along the target line, from the ball [m]."""
    y_m: Estimate
    """Its middle across the target line [m]."""


def find_resting_coin(
    before: Sequence[Piece],
    after: Sequence[Piece],
    camera: Camera,
    *,
    diameter_m: float,
    x_range_m: tuple[float, float],
    scale_rel_sd: float = 0.0,
) -> RestingCoin | None:
    """Find a new disc of the coin's size on the floor.

    Parameters
    ----------
    before, after : sequence of Piece
        The floor from before the coin fell and from after it lay still, spread in time, so that their
        medians show it without the moving head.
    camera : Camera
        The camera in the world under the ball.
    diameter_m : float
        The coin's diameter [m].
    x_range_m : tuple of float
        Where along the target line to look [m].
    scale_rel_sd : float
        Relative standard deviation of lengths along the target line.

    Returns
    -------
    RestingCoin or None
        None when nothing on the floor looks like a new disc of that size.

    """
    x_m = np.arange(*x_range_m, FLOOR_STEP_M)
    y_m = np.arange(*FLOOR_Y_M, FLOOR_STEP_M)
    floor = np.stack([*np.meshgrid(x_m, y_m), np.zeros((len(y_m), len(x_m)))], axis=-1)
    change = np.nan_to_num(_median_view(after, camera, floor) - _median_view(before, camera, floor))
    hidden = np.hypot(floor[..., 0], floor[..., 1]) < BALL_CLEARANCE_M
    radius_px = diameter_m / 2 / FLOOR_STEP_M
    disc, ring = _disc(radius_px, 0.0, 0.85), _disc(radius_px, 1.2, 1.7)
    inside, around = (cv2.filter2D(change, -1, kernel) for kernel in (disc, ring))
    score = np.where(hidden, 0.0, np.abs(inside - around))
    for row, column in _peaks(score, round(radius_px)):
        contrast = float(inside[row, column] - around[row, column])
        if abs(contrast) < LEAST_CONTRAST:
            return None
        changed = (np.abs(change - around[row, column]) > abs(contrast) / 2).astype(np.float32)
        filled, spilled = (
            float(np.sum(_cut(changed, row, column, kernel.shape[0]) * kernel)) for kernel in (disc, ring)
        )
        if filled >= LEAST_FILL and spilled <= MOST_SPILL:
            return _centred(change, (row, column), contrast, float(around[row, column]), radius_px,
                            (x_m, y_m), scale_rel_sd)  # fmt: skip
    return None


def _median_view(pieces: Sequence[Piece], camera: Camera, points_m: FloatArray) -> Luma:
    """Return the median over pieces of what is seen at world points, shape (rows, columns); NaN for none."""
    pixels = camera.project(points_m.reshape(-1, 3)).reshape(*points_m.shape[:2], 2)
    return np.median([each.at(pixels) for each in pieces], axis=0).astype(np.float32)


def _disc(radius_px: float, inner: float, outer: float) -> Luma:
    """Return a ring between two shares of the radius, summing to one."""
    reach = int(np.ceil(1.7 * radius_px))
    offset = np.arange(-reach, reach + 1)
    distance = np.hypot(offset[:, None], offset[None, :]) / radius_px
    ring = ((distance >= inner) & (distance <= outer)).astype(np.float32)
    return np.asarray(ring / ring.sum(), dtype=np.float32)


def _peaks(score: FloatArray, apart_px: int) -> list[tuple[int, int]]:
    """Return the highest places, the highest first, none within `apart_px` of a higher one."""
    left = score.copy()
    peaks = []
    for _ in range(CANDIDATES):
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        peaks.append((int(row), int(column)))
        left[
            max(row - apart_px, 0) : row + apart_px + 1, max(column - apart_px, 0) : column + apart_px + 1
        ] = 0
    return peaks


def _cut(image: Luma, row: int, column: int, side: int) -> Luma:
    padded = np.pad(image, side // 2)
    return padded[row : row + side, column : column + side]


def _centred(
    change: Luma,
    peak: tuple[int, int],
    contrast: float,
    level: float,
    radius_px: float,
    axes_m: tuple[FloatArray, FloatArray],
    scale_rel_sd: float,
) -> RestingCoin:
    """Return the disc's middle as the centroid of what changed."""
    reach = round(1.3 * radius_px)
    weight = np.clip((_cut(change, *peak, 2 * reach + 1) - level) / contrast, 0, 1)
    offset = np.arange(-reach, reach + 1)
    weight *= np.hypot(offset[:, None], offset[None, :]) <= reach
    across, along = (float(weight.sum(axis=1 - axis) @ offset / weight.sum()) for axis in (0, 1))
    x_m = float(axes_m[0][peak[1]]) + along * FLOOR_STEP_M
    y_m = float(axes_m[1][peak[0]]) + across * FLOOR_STEP_M
    return RestingCoin(
        x_m=Estimate(x_m, float(np.hypot(PLACE_SD_M, scale_rel_sd * x_m))),
        y_m=Estimate(y_m, PLACE_SD_M),
    )
