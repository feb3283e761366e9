"""The outline a ball draws in the picture, known exactly once its place is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.silhouette import touching_circles
from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray, freeze_arrays

OUTLINE_POINTS = 72
"""Chosen by us: every 5 degrees is a point every 1 to 3 pixels at the usual sizes, closer ones only repeat
each other."""

_ANGLES = np.arange(-1, OUTLINE_POINTS + 1) * (2.0 * np.pi / OUTLINE_POINTS)
_RING = np.column_stack([np.ones(len(_ANGLES)), np.cos(_ANGLES), np.sin(_ANGLES)])
"""A circle by its middle and two half-axes, with one point more at either end: each has two neighbours."""
_CENTRE_AND_RING = np.vstack([np.zeros(3), _RING])
_QUARTER_TURN = np.array([1.0, -1.0])


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Outline:
    """The silhouette of a ball in the picture."""

    centre_px: FloatArray
    """Image of the ball's centre, shape (2,) [px]; not quite the middle of the outline."""
    points_px: FloatArray
    """Points of the silhouette, evenly spread, shape (m, 2) [px]."""
    normals: FloatArray
    """Outward unit normals at the points, shape (m, 2)."""
    radius_px: float
    """Mean distance of the points from the centre [px]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def moved(self, shift_px: FloatArray, scale: float = 1.0) -> Outline:
        """Return the outline shifted in the picture, and grown about its centre by `scale`."""
        return Outline(
            centre_px=self.centre_px + shift_px,
            points_px=self.centre_px + shift_px + scale * (self.points_px - self.centre_px),
            normals=self.normals,
            radius_px=self.radius_px * scale,
        )

    def displaced(self, beyond_px: FloatArray) -> Outline:
        """Return the outline with each point moved outward, shape (m,) [px]."""
        return replace(self, points_px=self.points_px + beyond_px[:, None] * self.normals)

    def thinned(self, every: int) -> Outline:
        """Return the outline with every n-th point only."""
        return replace(self, points_px=self.points_px[::every], normals=self.normals[::every])


def floor_ball(x_m: float, y_m: float) -> FloatArray:
    """Return the centre of a ball lying on the floor at (x, y), shape (3,) [m]."""
    return np.array([x_m, y_m, BALL_RADIUS_M])


def on_floor(camera: Camera, pixels: FloatArray) -> FloatArray:
    """Return floor balls whose centres are seen at `pixels`, shapes (n, 2) [px] -> (n, 3) [m]."""
    return camera.meet_level(pixels, BALL_RADIUS_M)


def ball_outline(camera: Camera, centre_m: FloatArray, scale: float = 1.0) -> Outline:
    """Project a ball's silhouette.

    Parameters
    ----------
    camera : Camera
        The camera in the world of `centre_m`.
    centre_m : FloatArray
        The ball's centre, shape (3,) [m].
    scale : float
        Its size in the picture over the size the camera predicts.

    Returns
    -------
    Outline
        The image of the circle along which the rays from the camera touch the ball.

    """
    pixels = camera.project(centre_m + _CENTRE_AND_RING @ touching_circles(camera, centre_m, BALL_RADIUS_M))
    centre, points = pixels[0], pixels[2:-1]
    along = pixels[3:] - pixels[1:-2]
    normals = along[:, ::-1] * _QUARTER_TURN
    normals /= np.hypot(normals[:, 0], normals[:, 1])[:, None]
    spokes = scale * (points - centre)
    if normals[0] @ spokes[0] < 0:
        normals = -normals
    return Outline(
        centre_px=centre,
        points_px=centre + spokes,
        normals=normals,
        radius_px=float(np.hypot(spokes[:, 0], spokes[:, 1]).sum()) / OUTLINE_POINTS,
    )


def rough_outlines(camera: Camera, centres_m: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Return many balls' outlines as ellipses, quickly, for voting.

    The ellipse agrees with the silhouette to first order in ball size over distance (well under a pixel).

    Parameters
    ----------
    camera : Camera
        The camera.
    centres_m : FloatArray
        Ball centres, shape (n, 3) [m].
    count : int
        Points an outline.

    Returns
    -------
    tuple[FloatArray, FloatArray]
        Points, shape (n, count, 2) [px], and outward unit normals of the same shape; transposed, they are
        contiguous in memory.

    """
    middle, first, second = touching_circles(camera, centres_m, BALL_RADIUS_M).swapaxes(0, 1)
    pixels, slopes = camera.project_nearby(centres_m + middle)
    a = np.einsum("nij,nj->in", slopes, first)
    b = np.einsum("nij,nj->in", slopes, second)
    b *= np.sign(a[0] * b[1] - a[1] * b[0])  # now all run the same way round
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)[:, None]
    across, along = np.cos(angle), np.sin(angle)
    points = pixels.T[:, None, :] + across * a[:, None, :] + along * b[:, None, :]
    normals = across * b[::-1, None, :] - along * a[::-1, None, :]
    normals[1] *= -1.0
    normals /= np.sqrt(normals[0] ** 2 + normals[1] ** 2)
    return points.T, normals.T
