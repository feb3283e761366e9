"""The rays of a camera through the samples of a part of the picture, and what is painted there in layers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray

Image = NDArray[np.float32]
SAMPLES = 4  # a pixel's samples a side for what has edges


@dataclass(frozen=True, slots=True)
class PixelArea:
    """A part of the picture: columns left to right, rows top to bottom, the ends excluded."""

    left: int
    top: int
    right: int
    bottom: int

    @classmethod
    def around(cls, pixels: FloatArray, margin: float, limits: PixelArea) -> PixelArea:
        """Return the box around points, shape (n, 2) [px], with a margin, cut at `limits`."""
        low = np.floor(np.min(pixels, axis=0) - margin).astype(int)
        high = np.ceil(np.max(pixels, axis=0) + margin).astype(int) + 1
        return cls(int(low[0]), int(low[1]), int(high[0]), int(high[1])) & limits

    def __and__(self, other: PixelArea) -> PixelArea:
        return PixelArea(
            max(self.left, other.left),
            max(self.top, other.top),
            min(self.right, other.right),
            min(self.bottom, other.bottom),
        )

    def __or__(self, other: PixelArea) -> PixelArea:
        return PixelArea(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )

    @property
    def empty(self) -> bool:
        """Whether it holds no pixel."""
        return self.right <= self.left or self.bottom <= self.top

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.bottom - self.top, self.right - self.left

    @property
    def slices(self) -> tuple[slice, slice]:
        """Index of the box in an image."""
        return slice(self.top, self.bottom), slice(self.left, self.right)

    def grown(self, margin: int, limits: PixelArea) -> PixelArea:
        """Return the box with a margin, cut at `limits`."""
        return (
            PixelArea(self.left - margin, self.top - margin, self.right + margin, self.bottom + margin)
            & limits
        )

    def evened(self) -> PixelArea:
        """Return the box grown to even columns and rows, where chroma samples begin."""
        return PixelArea(self.left & ~1, self.top & ~1, (self.right + 1) & ~1, (self.bottom + 1) & ~1)

    def within(self, outer: PixelArea) -> tuple[slice, slice]:
        """Return the index of this box in an image of `outer`."""
        return (
            slice(self.top - outer.top, self.bottom - outer.top),
            slice(self.left - outer.left, self.right - outer.left),
        )


class View:
    """One camera's rays, for any part of its picture at any density of samples."""

    def __init__(self, camera: Camera, size: tuple[int, int]) -> None:
        self.camera = camera
        self.limits = PixelArea(0, 0, *size)
        self._distorted = bool(np.any(camera.distortion))
        if self._distorted:
            columns, rows = np.meshgrid(np.arange(-1, size[0] + 1.0), np.arange(-1, size[1] + 1.0))
            self._ideal = undistort(camera, columns, rows)

    def rays(self, box: PixelArea, samples: int) -> tuple[Image, Image]:
        """Return the ideal image coordinates x/z and y/z of the box's samples.

        Parameters
        ----------
        box : PixelArea
            Part of the picture.
        samples : int
            Samples per pixel along each side, evenly spread.

        Returns
        -------
        tuple of Image
            Shape (rows x samples, columns x samples) each.

        """
        rows, columns = box.shape
        if not self._distorted:
            K = self.camera.matrix
            inner = (np.arange(max(rows, columns) * samples) + 0.5) / samples - 0.5
            x = (box.left + inner[: columns * samples] - K[0, 2]) / K[0, 0]
            y = (box.top + inner[: rows * samples] - K[1, 2]) / K[1, 1]
            grid = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
            return grid[0], grid[1]
        padded = self._ideal[:, box.top : box.bottom + 2, box.left : box.right + 2]
        dense = [
            cv2.resize(part, None, fx=samples, fy=samples, interpolation=cv2.INTER_LINEAR)[
                samples:-samples, samples:-samples
            ]
            for part in padded
        ]
        return np.asarray(dense[0], dtype=np.float32), np.asarray(dense[1], dtype=np.float32)

    def plane(
        self, rays: tuple[Image, Image], origin: FloatArray, first: FloatArray, second: FloatArray
    ) -> tuple[Image, Image]:
        """Return where rays meet a plane, in the plane's own coordinates.

        Parameters
        ----------
        rays : tuple of Image
            From `rays`.
        origin, first, second : FloatArray
            A point of the plane and two unit axes in it, world, shape (3,) [m].

        """
        R, t = self.camera.rotation, self.camera.translation
        G = np.linalg.inv(np.column_stack([R @ first, R @ second, R @ origin + t])).astype(np.float32)
        x, y = rays
        w = G[2, 0] * x + G[2, 1] * y + G[2, 2]
        return (G[0, 0] * x + G[0, 1] * y + G[0, 2]) / w, (G[1, 0] * x + G[1, 1] * y + G[1, 2]) / w


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """Something painted: its part of the picture, and how to paint within another part."""

    box: PixelArea
    """Where it can be seen."""
    distance_m: float
    """Distance from the camera, which decides what covers what."""
    paint: Callable[[View, PixelArea], Image]
    """Red, green, blue times coverage, and coverage, of the given part of the picture."""


def covered(view: View, behind: Image, part: PixelArea, layers: Sequence[Layer]) -> Image:
    """Return a part of the picture with layers laid over it, one after the other."""
    image = behind.copy()
    for layer in layers:
        box = layer.box & part
        if not box.empty:
            painted = layer.paint(view, box)
            place = box.within(part)
            image[place] = painted[..., :3] + (1 - painted[..., 3:]) * image[place]
    return image


def undistort(camera: Camera, columns: FloatArray, rows: FloatArray) -> Image:
    """Return the ideal coordinates x/z and y/z of pixels, shape (2, ...); by fixed-point iteration.

    OpenCV's own inverse stops after five steps; a renderer must not be the less exact side.
    """
    k1, k2, p1, p2, k3 = camera.distortion
    K = camera.matrix
    x_seen, y_seen = (columns - K[0, 2]) / K[0, 0], (rows - K[1, 2]) / K[1, 1]
    x, y = x_seen, y_seen
    for _ in range(25):  # shrinks the error by about |k1| r^2, a tenth or less, each time
        r2 = x**2 + y**2
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        x, y = (
            (x_seen - 2 * p1 * x * y - p2 * (r2 + 2 * x**2)) / radial,
            (y_seen - p1 * (r2 + 2 * y**2) - 2 * p2 * x * y) / radial,
        )
    return np.stack([x, y]).astype(np.float32)


def average(samples_image: Image, samples: int) -> Image:
    """Return the mean of each pixel's samples."""
    if samples == 1:
        return samples_image
    rows, columns = samples_image.shape[:2]
    size = (columns // samples, rows // samples)
    return np.asarray(cv2.resize(samples_image, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


def fill(image: Image, box: PixelArea, polygon_px: FloatArray, colour: tuple[float, ...]) -> None:
    """Fill a polygon, shape (n, 2) [px], in the samples of a part of the picture, with full coverage."""
    points = (polygon_px - [box.left - 0.5, box.top - 0.5]) * SAMPLES - 0.5
    cv2.fillPoly(image, [np.round(points * 16).astype(np.int32)], (*colour, 1.0), shift=4)
