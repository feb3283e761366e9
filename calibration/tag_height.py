"""How high the head tag stands at address: stated, or estimated from all that tells about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.calibration.attitude import projection_gradient, relative_stretch, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays

TYPICAL_HEIGHT = Estimate(0.027, 0.004)
"""Height of a tag on a putter head's flat top [m] (common practice, no source)."""

TAG_OFF_CENTRE_SD_M = 0.008
"""Chosen by us: how far from the ball's line, across it, people stick the tag on the head."""

LEVEL_SD_RAD = 0.045
"""Chosen by us: how far from level the top of a soled head is, from lie and from leaning the shaft."""

SIZE_SD = 0.006
"""Chosen by us: what blur and tone curve leave uncertain of a small registered tag's size."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AddressedTag:
    """The head tag at address."""

    point_m: FloatArray
    """The tag's centre in the world, shape (3,) [m]."""
    height_m: Estimate
    turn_rad: float
    """Its turn about the vertical against the world's x axis [rad]."""
    tilt_rad: float
    """Its forward tilt, front up [rad]."""
    roll_rad: float
    """Its roll about its own x axis [rad]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def place_tag(
    camera: Camera,
    centre_px: FloatArray,
    jacobian: FloatArray | None,
    *,
    stated: Estimate | None,
    ball_y_m: float | None,
    size_sd: float = SIZE_SD,
) -> AddressedTag:
    """Place the tag along its pixel ray at address.

    Parameters
    ----------
    camera : Camera
        The posed camera, world z up from the floor.
    centre_px : FloatArray
        The tag's centre in the picture, shape (2,) [px].
    jacobian : FloatArray or None
        Pixels per metre of the tag's plane, shape (2, 2); None for a dot or a patch.
    stated : Estimate or None
        Height measured with a ruler; it is then taken as it is.
    ball_y_m : float or None
        The resting ball's place across the target line [m]: the head stands behind it.
    size_sd : float
        Relative standard deviation of the tag's size in the picture.

    Returns
    -------
    AddressedTag

    Notes
    -----
    Without a stated height, the most probable height given the typical one, the size of the tag (its distance
    along the ray, its attitude solved along), and the ball's line.

    """
    from scipy.optimize import least_squares  # loaded while the clip is decoded

    height = stated or TYPICAL_HEIGHT
    gradient_turn = level_turn(camera, centre_px, jacobian, height.value)
    pixel = centre_px[None, :]

    def point_at(height_m: float) -> FloatArray:
        return camera.meet_level(pixel, height_m)

    def residuals(state: FloatArray) -> FloatArray:
        height_m, turn, tilt, roll = state
        point = point_at(height_m)
        rows = [[(height_m - height.value) / height.sd, tilt / LEVEL_SD_RAD, roll / LEVEL_SD_RAD]]
        if jacobian is not None:
            axes = tag_axes(np.array([turn]), np.array([tilt]), np.array([roll]))
            predicted = projection_gradient(camera, point) @ axes
            rows.append(list(relative_stretch(jacobian[None], predicted)[0] / size_sd))
        if ball_y_m is not None and stated is None:
            rows.append([(point[0, 1] - ball_y_m) / TAG_OFF_CENTRE_SD_M])
        return np.concatenate([np.asarray(row) for row in rows])

    start = np.array([height.value, gradient_turn, 0.0, 0.0])

    def attitude_residuals(attitude: FloatArray) -> FloatArray:
        return residuals(np.concatenate([[height.value], attitude]))

    if stated is not None:
        solved = least_squares(attitude_residuals, start[1:])
        state = np.concatenate([[height.value], solved.x])
        found = stated
    else:
        solved = least_squares(residuals, start, x_scale=np.array([0.005, 0.05, 0.05, 0.05]))
        state = solved.x
        jac = np.asarray(solved.jac, dtype=np.float64)
        covariance = np.linalg.pinv(jac.T @ jac)
        found = Estimate(float(state[0]), float(np.sqrt(covariance[0, 0])))
    return AddressedTag(
        point_m=point_at(float(state[0]))[0],
        height_m=found,
        turn_rad=float(state[1]),
        tilt_rad=float(state[2]),
        roll_rad=float(state[3]),
    )


def level_turn(camera: Camera, centre_px: FloatArray, jacobian: FloatArray | None, height_m: float) -> float:
    """Return the turn of a level tag that fits the picture roughly."""
    if jacobian is None:
        return 0.0
    point = camera.meet_level(centre_px[None, :], height_m)
    level = projection_gradient(camera, point)[0][:, :2]
    turned = np.linalg.solve(level, jacobian)
    return float(np.arctan2(turned[1, 0] - turned[0, 1], turned[0, 0] + turned[1, 1]))
