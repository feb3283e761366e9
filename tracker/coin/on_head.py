"""The coin on the head in the clip: how far it has slid, and when it passed the edge."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BoolArray, Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.coin.fallen import Luma, views_of

HEAD_STEP_M = 0.0005
SIDE_PLAY_M = 0.003
"""Chosen by us: a coin that slides backward strays no further to the side."""
LEAST_LIKENESS = 0.6
"""Chosen by us: a coin correlates above 0.8 with itself on a moving head, bare metal below 0.4."""
LEAST_SLIDE_M = 0.003
"""Chosen by us: a smaller shift may be the tag's own error."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ShelfView:
    """Where the coin's floor is in each frame: all that is needed to look at it in the head's own axes."""

    tag_m: FloatArray
    """Tag's centre in each frame, shape (n, 3) [m]; NaN where not seen."""
    tilt_rad: FloatArray
    """The head's tilt, shape (n,) [rad]."""
    coin_from_tag_m: float
    """Coin's middle from the tag's centre at address, along the floor [m]."""
    top_from_tag_m: float
    """Height of the coin's upper face above the tag's plane [m]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def points(self, index: int, along_m: FloatArray, across_m: FloatArray) -> FloatArray:
        """Return the world points of a grid on the coin's upper face, shape (rows, columns, 3) [m]."""
        cosine, sine = np.cos(self.tilt_rad[index]), np.sin(self.tilt_rad[index])
        along, across = np.meshgrid(along_m + self.coin_from_tag_m, across_m)
        x = along * cosine - self.top_from_tag_m * sine
        z = along * sine + self.top_from_tag_m * cosine
        points: FloatArray = self.tag_m[index] + np.stack([x, across, z], axis=-1)
        return points


class ShelfWatch:
    """Follows the coin on the head's floor by its own look at address.

    Parameters
    ----------
    camera : Camera
        The camera in the world under the ball.
    shelf : ShelfView
        Where the floor is in each frame.
    diameter_m, edge_distance_m : float
        The coin's diameter and its distance to the rear edge [m].

    """

    def __init__(
        self, camera: Camera, shelf: ShelfView, *, diameter_m: float, edge_distance_m: float
    ) -> None:
        self._camera, self._shelf = camera, shelf
        reach = diameter_m / 2 + HEAD_STEP_M
        self._along_m = np.arange(-edge_distance_m - reach - 0.004, reach + SIDE_PLAY_M, HEAD_STEP_M)
        self._across_m = np.arange(-reach - SIDE_PLAY_M, reach + SIDE_PLAY_M, HEAD_STEP_M)
        self._half = round(reach / HEAD_STEP_M)
        span = np.arange(-self._half, self._half + 1) * HEAD_STEP_M
        self._mask = (np.hypot(span[:, None], span[None, :]) <= diameter_m / 2).astype(np.float32)
        self._looks: list[Luma] = []

    def learn(self, index: int, frame: LumaFrame) -> None:
        """Take a frame in which the coin lies still at address."""
        self._looks.append(self._patch(index, frame))

    def displacement(self, index: int, frame: LumaFrame) -> float:
        """Return the coin's shift along the floor, backward negative [m]; NaN where it is not seen."""
        if not self._looks or not np.isfinite(self._shelf.tag_m[index]).all():
            return float("nan")
        look = np.median(self._looks, axis=0).astype(np.float32)
        zero, middle = int(np.argmin(np.abs(self._along_m))), int(np.argmin(np.abs(self._across_m)))
        half = self._half
        template = look[middle - half : middle + half + 1, zero - half : zero + half + 1]
        likeness = _masked_correlation(self._patch(index, frame), template, self._mask)
        row, column = np.unravel_index(int(np.argmax(likeness)), likeness.shape)
        if likeness[row, column] < LEAST_LIKENESS:
            return float("nan")
        return float(self._along_m[column + half])

    def _patch(self, index: int, frame: LumaFrame) -> Luma:
        points_m = self._shelf.points(index, self._along_m, self._across_m)
        return views_of([frame], self._camera, points_m)[0]


def _masked_correlation(image: Luma, template: Luma, mask: Luma) -> FloatArray:
    """Return the correlation coefficient of a masked template at every place of an image."""
    matched = cv2.matchTemplate(image, template, cv2.TM_CCOEFF_NORMED, mask=mask)
    likeness: FloatArray = np.array(matched, dtype=np.float64)
    likeness[~np.isfinite(likeness)] = -1.0
    return likeness


def leave_instant(time_s: FloatArray, displacement_m: FloatArray, edge_distance_m: float) -> Estimate:
    """Return when the coin's middle passed the rear edge, from its displacement on the head.

    A parabola through the slide's last seen stretch, carried to the edge.

    Parameters
    ----------
    time_s, displacement_m : FloatArray
        Of each frame, shape (n,) [s], [m]; NaN where the coin was not seen.
    edge_distance_m : float
        Distance from the coin's middle at address to the rear edge [m].

    """
    sliding = _slide_frames(displacement_m, edge_distance_m)
    if np.count_nonzero(sliding) < 4 or displacement_m[sliding].min() > -0.5 * edge_distance_m:
        return Estimate.missing()
    t_s, place_m = time_s[sliding], displacement_m[sliding]
    origin_s = t_s[-1]
    curve, covariance = np.polyfit(t_s - origin_s, place_m, 2, cov=True)
    roots = np.roots(curve + np.array([0.0, 0.0, edge_distance_m]))
    real = roots[np.isreal(roots)].real
    if not len(real):
        return Estimate.missing()
    crossing = float(real[np.argmin(np.abs(real))])
    powers = np.array([crossing**2, crossing, 1.0])
    speed = abs(float(np.polyval(np.polyder(curve), crossing)))
    place_sd_m = float(np.hypot(np.sqrt(max(powers @ covariance @ powers, 0.0)), 2 * HEAD_STEP_M))
    return Estimate(float(origin_s) + crossing, place_sd_m / speed)


def _slide_frames(displacement_m: FloatArray, edge_distance_m: float) -> BoolArray:
    """Return the frames of the slide: from its start to the first sight past the edge, or the last."""
    reached = np.flatnonzero(displacement_m < -0.5 * edge_distance_m)
    chosen = np.zeros(len(displacement_m), dtype=bool)
    if not len(reached):
        return chosen
    resting = np.flatnonzero(displacement_m[: reached[0]] > -LEAST_SLIDE_M)
    start = int(resting[-1]) + 1 if len(resting) else 0
    past = np.flatnonzero(displacement_m[reached[0] :] < -edge_distance_m)
    end = reached[0] + int(past[0]) + 1 if len(past) else int(reached[-1]) + 1
    chosen[start:end] = np.isfinite(displacement_m[start:end])
    return chosen
