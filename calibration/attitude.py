"""How a flat tag is turned in space, from how it is stretched in the picture."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray

TURNS = np.cross(np.eye(3)[:, None], np.eye(3)).swapaxes(1, 2)
"""Turns about x, y and z: TURNS[k] @ v is the cross product of axis k with v."""


def projection_gradient(camera: Camera, points: FloatArray) -> FloatArray:
    """Return the pixels a world point moves per metre along x, y and z, shapes (n, 3) -> (n, 2, 3) [px/m]."""
    return camera.project_nearby(points)[1]


def tag_axes(turn_rad: FloatArray, tilt_rad: FloatArray, roll_rad: FloatArray) -> FloatArray:
    """Return a tag's x and y axes in the world.

    Parameters
    ----------
    turn_rad : FloatArray
        Rotation about the vertical, shape (n,) [rad]; zero when its x axis points along the target line.
    tilt_rad : FloatArray
        Rise of the tag's x axis out of the level, shape (n,) [rad]; positive when its front is high.
    roll_rad : FloatArray
        Rotation about the tag's x axis, shape (n,) [rad].

    Returns
    -------
    FloatArray
        Shape (n, 3, 2): columns are the axes.

    """
    turn, tilt, roll = np.broadcast_arrays(turn_rad, tilt_rad, roll_rad)
    ct, st = np.cos(tilt), np.sin(tilt)
    cr, sr = np.cos(roll), np.sin(roll)
    cz, sz = np.cos(turn), np.sin(turn)
    # Rotation about z, then about -y (front up), then about x.
    x_axis = np.stack([cz * ct, sz * ct, st], axis=-1)
    y_axis = np.stack([-sz * cr - cz * st * sr, cz * cr - sz * st * sr, ct * sr], axis=-1)
    return np.stack([x_axis, y_axis], axis=-1)


def relative_stretch(measured: FloatArray, predicted: FloatArray) -> FloatArray:
    """Return how the measured picture of a tag is stretched against the predicted one.

    Parameters
    ----------
    measured, predicted : FloatArray
        Pixels per metre of the tag's plane, shape (n, 2, 2).

    Returns
    -------
    FloatArray
        The four entries of measured @ inverse(predicted) - 1, shape (n, 4).

    """
    ratio = measured @ np.linalg.inv(predicted)
    return np.asarray((ratio - np.eye(2)).reshape(-1, 4), dtype=np.float64)


def follow_attitude(
    camera: Camera,
    points: FloatArray,
    jacobian: FloatArray,
    stretch_covariance: FloatArray,
    *,
    turn_rad: float,
    tilt_rad: float,
    roll_rad: float,
    nearness_sd: float,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Solve turn, tilt and nearness of a moving tag in every frame.

    Parameters
    ----------
    camera : Camera
        The posed camera.
    points : FloatArray
        Where the tag's centre is, shape (n, 3) [m].
    jacobian : FloatArray
        Pixels per metre of the tag's plane as seen, shape (n, 2, 2).
    stretch_covariance : FloatArray
        Covariance of its four relative stretches, shape (n, 4, 4).
    turn_rad, tilt_rad, roll_rad : float
        The tag's turn, tilt and roll at address.
    nearness_sd : float
        Prior standard deviation of how much larger the tag looks than at `points` (log).

    Returns
    -------
    turn_rad, tilt_rad, nearness, covariance : FloatArray
        Shapes (n,), (n,), (n,) and (n, 3, 3); nearness is the log of seen size over predicted size.

    Notes
    -----
    Gauss-Newton on three unknowns against four stretches, all frames at once; three steps from the address
    attitude reach rounding for tilts below half a radian. Turning about an axis moves the tag's axes by the
    cross product with it, and what moves a matrix M by dM moves its inverse by -inverse(M) dM inverse(M).

    """
    count = len(points)
    gradient = projection_gradient(camera, points)
    state: FloatArray = np.tile([turn_rad, 0.0, 0.0], (count, 1))
    weight = np.linalg.inv(stretch_covariance)
    prior = np.diag([0.0, 0.0, nearness_sd**-2])
    normal = np.empty((count, 3, 3))
    for _ in range(3):
        turn, tilt, nearness = state.T
        # A head swings about an axis across the line: it rolls by what turn and tilt, taken one after the
        # other, make of a single turn about such an axis. Left out, its path looks a third too curved: over
        # 100 simulated clips the curvature was off by 0.065 /m, by 0.039 with it.
        roll = roll_rad - 0.5 * (turn - turn_rad) * (tilt - tilt_rad)
        axes = tag_axes(turn, tilt, roll)
        across = np.column_stack([np.sin(turn), -np.cos(turn), np.zeros(count)])
        turning = np.array([0.0, 0.0, 1.0]) - 0.5 * (tilt - tilt_rad)[:, None] * axes[:, :, 0]
        tilting = across - 0.5 * (turn - turn_rad)[:, None] * axes[:, :, 0]
        inverse = np.linalg.inv(gradient @ axes)
        ratio = np.exp(-nearness)[:, None, None] * (jacobian @ inverse)
        moved = [
            ratio @ (gradient @ np.tensordot(axis, TURNS, 1) @ axes) @ inverse for axis in (turning, tilting)
        ]
        errors = (ratio - np.eye(2)).reshape(count, 4)
        slopes = -np.stack([*moved, ratio], axis=-1).reshape(count, 4, 3)
        weighted = np.swapaxes(slopes, 1, 2) @ weight
        normal = weighted @ slopes + prior
        pull = (weighted @ errors[..., None])[..., 0] + state @ prior
        state = state - np.linalg.solve(normal, pull[..., None])[..., 0]
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    return state[:, 0], state[:, 1], state[:, 2], covariance
