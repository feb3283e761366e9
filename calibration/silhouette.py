"""The silhouette that a ball draws in the picture."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray

_ANGLES = np.arange(24) * (2.0 * np.pi / 24)
_CENTRE_AND_RING = np.vstack([np.zeros(3), np.column_stack([np.ones(24), np.cos(_ANGLES), np.sin(_ANGLES)])])
"""The ball's centre, then a circle by its middle and two half-axes."""


def silhouette(camera: Camera, centres_m: FloatArray, radius_m: float) -> tuple[FloatArray, FloatArray]:
    """Return images of balls' centres and points of their outlines, shapes (n, 2) and (n, 24, 2) [px].

    Parameters
    ----------
    camera : Camera
        The camera in the world of `centres_m`.
    centres_m : FloatArray
        Centres of balls, shape (n, 3) [m].
    radius_m : float
        Their radius [m].

    """
    circles = touching_circles(camera, centres_m, radius_m)
    points = centres_m[:, None, :] + _CENTRE_AND_RING @ circles
    pixels = camera.project(points.reshape(-1, 3)).reshape(len(centres_m), -1, 2)
    return pixels[:, 0], pixels[:, 1:]


def touching_circles(camera: Camera, centres_m: FloatArray, radius_m: float) -> FloatArray:
    """Return middle and perpendicular half-axes, from the ball's centre, of the circle where rays touch it.

    One ball or many, shape (..., 3) -> (..., 3, 3); the half-axes are the cross products of the ray with the
    camera's y axis, which is never along a ray into the picture, and of the ray with that.
    """
    x, y, z = (centres_m @ camera.rotation.T + camera.translation).T  # in the camera's axes
    across, distance = np.hypot(x, z), np.sqrt(x * x + y * y + z * z)
    share = radius_m / distance  # sine of the half-angle under which the ball is seen
    nearer = -radius_m * share / distance
    first = radius_m * np.sqrt(1.0 - share**2) / across
    second = first / distance
    axes = np.array(
        [
            [nearer * x, nearer * y, nearer * z],
            [first * z, 0.0 * x, -first * x],
            [second * x * y, -second * across**2, second * y * z],
        ]
    )
    in_world: FloatArray = axes.T.swapaxes(-1, -2) @ camera.rotation
    return in_world
