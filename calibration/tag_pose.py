"""A camera posed by one small tag lying level: its scale and slant, never its perspective."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.optimize import least_squares

from pennyfall.calibration.attitude import projection_gradient, relative_stretch, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import (
    DISTORTION_SD,
    LENS_K1_SD,
    TYPICAL_FOCAL_LOG_SD,
    TYPICAL_FOCAL_SHARE,
    Pose,
    camera_from,
)
from pennyfall.calibration.tag_height import LEVEL_SD_RAD
from pennyfall.kinematics.values import Estimate, FloatArray

TAG_SIZE_SD = 0.012
"""Chosen by us: half a per cent is what blur leaves uncertain of a registered tag's size, a full one what a
printer does to 24 mm where no check ruler is in the picture."""

CENTRE_SD_PX = 0.05
"""Chosen by us: mean place of a resting tag."""


def pose_from_tag(
    centre_px: FloatArray,
    jacobian: FloatArray,
    *,
    height_m: float,
    picture_size: tuple[int, int],
    turn_rad: float = 0.0,
    lens: Lens | None = None,
    pixel_aspect: float = 1.0,
) -> Pose:
    """Pose the camera over the floor on which the head rests, from how large and how slanted its tag looks.

    Parameters
    ----------
    centre_px : FloatArray
        The resting tag's centre, shape (2,) [px].
    jacobian : FloatArray
        Pixels per metre of its plane there, shape (2, 2): the four numbers that a small tag tells well.
    height_m : float
        Height of the tag above the floor [m].
    picture_size : tuple of int
        Width and height [px].
    turn_rad : float
        Turn of the tag's x axis against the world's x axis [rad]; the world's origin is under the tag.
    lens : Lens, optional
        Calibrated lens of the camera's mode, made in a picture of this shape and any size; without one the
        focal length is a phone's usual.
    pixel_aspect : float
        Width of a pixel over its height.

    Returns
    -------
    Pose
        Its covariance holds what is not known: the focal length, how level the tag lies, its true size.

    Raises
    ------
    CannotMeasure
        When the lens was made in a picture of another shape.

    Notes
    -----
    Under weak perspective four stretches give distance and attitude, the latter up to a mirror image about
    the line of sight (Oberkampf, DeMenthon & Davis 1996, CVIU 63:495-511); of the two, the floor that rises
    in the picture is taken, as it does before a phone held upright.

    """
    lens = None if lens is None else lens.resized(*picture_size)
    priors = _priors(picture_size, lens)

    def camera_of(state: FloatArray) -> Camera:
        return camera_from(state[:8], picture_size, pixel_aspect, lens)

    def residuals(state: FloatArray) -> FloatArray:
        camera = camera_of(state)
        point = np.array([[0.0, 0.0, height_m]])
        axes = tag_axes(np.array([turn_rad]), state[8:9], state[9:10])
        stretch = relative_stretch(jacobian[None], projection_gradient(camera, point) @ axes)[0]
        return np.concatenate(
            [
                (camera.project(point)[0] - centre_px) / CENTRE_SD_PX,
                stretch / TAG_SIZE_SD,
                [(state[0] - priors[0]) / priors[1], state[7] / priors[2]],
                state[8:] / LEVEL_SD_RAD,
            ]
        )

    level = camera_of(np.array([priors[0], 0, 0, 0, 0, 0, 0, 0], dtype=np.float64))
    vector, place = _start(centre_px, jacobian, height_m, turn_rad, level)
    state = np.concatenate([[priors[0]], vector, place, np.zeros(3)])
    solved = least_squares(residuals, state, jac="3-point", x_scale="jac")
    state, slopes = solved.x, np.asarray(solved.jac, dtype=np.float64)
    covariance = np.linalg.pinv(slopes.T @ slopes)[:8, :8]
    camera = camera_of(state)
    focal = float(camera.matrix[0, 0])
    return Pose(
        camera=camera,
        focal_source="assumed" if lens is None else "lens-file",
        focal_px=Estimate(focal, focal * float(np.sqrt(covariance[0, 0]))),
        reprojection_rms_px=float("nan"),
        parameters=state[:8],
        covariance=np.asarray(covariance, dtype=np.float64),
        picture_size=picture_size,
        pixel_aspect=pixel_aspect,
        lens=lens,
    )


def _priors(picture_size: tuple[int, int], lens: Lens | None) -> tuple[float, float, float]:
    """Return the expected log focal length, its standard deviation, and that of k1."""
    if lens is None:
        return float(np.log(TYPICAL_FOCAL_SHARE * max(picture_size))), TYPICAL_FOCAL_LOG_SD, DISTORTION_SD
    focal = float(lens.matrix[0, 0])
    return float(np.log(focal)), max(lens.focal_sd_px / focal, 1e-4), LENS_K1_SD


def _start(
    centre_px: FloatArray, jacobian: FloatArray, height_m: float, turn_rad: float, level: Camera
) -> tuple[FloatArray, FloatArray]:
    """Return rotation vector and translation of the world for a level tag, by weak perspective.

    `level` has the intrinsics, and axes along the world's.
    """
    ray = level.rays(centre_px[None, :])[0]
    # d(pixel) = K2 A R12 dX / Z with the two first columns of the tag's rotation, and depth Z.
    seen = np.linalg.solve(level.matrix[:2, :2], jacobian)
    A = np.array([[1.0, 0.0, -ray[0]], [0.0, 1.0, -ray[1]]])
    values, vectors = np.linalg.eigh(A @ A.T)
    whiten = vectors @ np.diag(values**-0.5) @ vectors.T
    rows = whiten @ A
    block = whiten @ seen
    _, (large, small), right = np.linalg.svd(block)
    sight = ray / np.linalg.norm(ray)
    best = np.eye(3)
    for sign in (-1.0, 1.0):
        away = sign * np.sqrt(max(1 - (small / large) ** 2, 0.0)) * right[1]
        columns = rows.T @ (block / large) + np.outer(sight, away)
        rotation = np.column_stack([columns, np.cross(columns[:, 0], columns[:, 1])])
        # The picture's rows run down: the normal of a floor that rises in it points up.
        if sign < 0 or rotation[1, 2] < best[1, 2]:
            best = rotation
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    world = best @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]).T
    vector, _ = cv2.Rodrigues(world)
    place = ray / (ray[2] * large) - world @ np.array([0.0, 0.0, height_m])
    return np.asarray(vector, dtype=np.float64).ravel(), np.asarray(place, dtype=np.float64)
