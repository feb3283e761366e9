"""The outline a ball draws in the picture, known exactly once its place is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray, freeze_arrays

BALL_RADIUS_M = 0.021335
"""Half the smallest diameter the rules allow, 1.680 in (USGA, Rules of Golf 2016, Appendix III); balls are
made to it."""

OUTLINE_POINTS = 72
"""Chosen by us: every 5 degrees is a point every 1 to 3 pixels at the usual sizes, closer ones only repeat
each other."""

_ANGLES = np.linspace(0.0, 2.0 * np.pi, OUTLINE_POINTS, endpoint=False)
_CIRCLE = np.column_stack([np.cos(_ANGLES), np.sin(_ANGLES)])
_NEXT, _PREVIOUS = (np.roll(np.arange(OUTLINE_POINTS), shift) for shift in (-1, 1))
_YZX, _ZXY = [1, 2, 0], [2, 0, 1]
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

    def thinned(self, every: int) -> Outline:
        """Return the outline with every n-th point only."""
        return replace(self, points_px=self.points_px[::every], normals=self.normals[::every])


def floor_ball(x_m: float, y_m: float) -> FloatArray:
    """Return the centre of a ball lying on the floor at (x, y), shape (3,) [m]."""
    return np.array([x_m, y_m, BALL_RADIUS_M])


def on_floor(camera: Camera, pixels: FloatArray) -> FloatArray:
    """Return floor balls whose centres are seen at `pixels`, shapes (n, 2) [px] -> (n, 3) [m]."""
    return camera.meet_plane(pixels, np.array([0.0, 0.0, BALL_RADIUS_M]), np.array([0.0, 0.0, 1.0]))


def ball_outline(camera: Camera, centre_m: FloatArray) -> Outline:
    """Project a ball's silhouette.

    Parameters
    ----------
    camera : Camera
        The camera in the world of `centre_m`.
    centre_m : FloatArray
        The ball's centre, shape (3,) [m].

    Returns
    -------
    Outline
        The image of the circle along which the rays from the camera touch the ball.

    """
    middle, first, second = _touching_circles(camera, centre_m[None, :])
    pixels = camera.project(np.vstack([centre_m, middle + _CIRCLE @ np.vstack([first, second])]))
    centre, points = pixels[0], pixels[1:]
    along = points[_NEXT] - points[_PREVIOUS]
    normals = along[:, ::-1] * _QUARTER_TURN
    normals /= np.sqrt(np.einsum("ij,ij->i", normals, normals))[:, None]
    spokes = points - centre
    if normals[0] @ spokes[0] < 0:
        normals = -normals
    return Outline(
        centre_px=centre,
        points_px=points,
        normals=normals,
        radius_px=float(np.sqrt(np.einsum("ij,ij->i", spokes, spokes)).mean()),
    )


def rough_outlines(camera: Camera, centres_m: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Return many balls' outlines as ellipses, quickly, for voting.

    The ellipse agrees with the silhouette to second order in ball size over distance (well under a pixel).

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
        Points, shape (n, count, 2) [px], and outward unit normals of the same shape.

    """
    n = len(centres_m)
    middle, first, second = _touching_circles(camera, centres_m)
    pixels = camera.project(np.vstack([middle + first, middle - first, middle + second, middle - second]))
    right, left, top, bottom = pixels.reshape(4, n, 1, 2)
    centre = 0.25 * (right + left + top + bottom)
    semi_a, semi_b = 0.5 * (right - left), 0.5 * (top - bottom)
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)[None, :, None]
    points = centre + np.cos(angle) * semi_a + np.sin(angle) * semi_b
    along = np.cos(angle) * semi_b - np.sin(angle) * semi_a
    normals = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    inward = np.sum(normals[:, 0] * (points - centre)[:, 0], axis=-1) < 0
    normals[inward] *= -1.0
    return points, normals


def _touching_circles(camera: Camera, centres_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return middles and perpendicular half-axes of the circles where rays touch the balls."""
    to_camera = camera.centre - centres_m
    distance = np.sqrt(np.einsum("ij,ij->i", to_camera, to_camera))[:, None]
    axis = to_camera / distance
    share = BALL_RADIUS_M / distance  # sine of the half-angle under which the ball is seen
    middle = centres_m + BALL_RADIUS_M * share * axis
    radius = BALL_RADIUS_M * np.sqrt(1.0 - share**2)
    first = _cross(axis, camera.rotation[1:2])  # the camera's y axis is never along a ray into the picture
    first /= np.sqrt(np.einsum("ij,ij->i", first, first))[:, None]
    return middle, radius * first, radius * _cross(axis, first)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the cross products of rows; a tenth of the time of numpy's general one for single rows."""
    return a[:, _YZX] * b[:, _ZXY] - a[:, _ZXY] * b[:, _YZX]
