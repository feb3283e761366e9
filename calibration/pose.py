"""Camera pose and focal length from the sheet: a least-squares fit with honest priors and its covariance."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.lens import Lens
from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays

FocalSource = Literal["lens-file", "sheet", "assumed"]

TYPICAL_FOCAL_SHARE = 0.82
"""Focal length over the longer side of the picture: a phone's main camera sees about 63 degrees across in
video (common practice, no source)."""

TYPICAL_FOCAL_LOG_SD = 0.20
"""Chosen by us: wide enough for every main camera and its video crop."""

SOLVED_LOG_SD = 0.05
"""Chosen by us: above this the sheet was seen too squarely to say, and the typical value rules."""

DISTORTION_SD = 0.03
"""Chosen by us: what is left of k1 after a phone's own correction; without a lens file it stays unknown."""

CORNER_FLOOR_PX = 0.05
"""Chosen by us: paper is never quite flat nor quite square; corners are not believed better than this."""

WELL_FITTED = 2.0
"""Chosen by us: chi-squared per degree of freedom below which no other start can fit notably better."""

LENS_K1_SD = 0.003
"""Chosen by us: how well a calibration of a dozen views knows k1 where a stroke is seen."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Pose:
    """A camera posed by the sheet, with the covariance of everything that was solved."""

    camera: Camera
    focal_source: FocalSource
    focal_px: Estimate
    reprojection_rms_px: float
    """Root mean square distance of measured and projected corners [px]."""
    parameters: FloatArray
    """Log focal length, rotation vector, translation [m] and k1, shape (8,)."""
    covariance: FloatArray
    """Covariance of the parameters, shape (8, 8)."""
    picture_size: tuple[int, int]
    """Width and height [px]."""
    pixel_aspect: float
    """Width of a pixel over its height."""
    lens: Lens | None = None
    """Calibrated lens at this picture size."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def camera_at(self, parameters: FloatArray) -> Camera:
        """Return the camera of other parameters than the best (for propagating their covariance)."""
        return camera_from(parameters, self.picture_size, self.pixel_aspect, self.lens)

    def perturbed(self, sds: float = 1.0) -> tuple[Camera, ...]:
        """Return cameras `sds` standard deviations away along each principal axis of the covariance."""
        values, axes = np.linalg.eigh(self.covariance)
        steps = axes * np.sqrt(np.maximum(values, 0.0))
        return tuple(self.camera_at(self.parameters + sds * step) for step in steps.T)


def solve_pose(
    points_m: FloatArray,
    pixels: FloatArray,
    sd_px: FloatArray,
    *,
    picture_size: tuple[int, int],
    lens: Lens | None = None,
    pixel_aspect: float = 1.0,
    near: Pose | None = None,
) -> Pose:
    """Pose the camera from points of the floor plane, solving the focal length when no lens is given.

    Parameters
    ----------
    points_m : FloatArray
        World points, shape (n, 3) [m], n >= 4, on the plane z = 0.
    pixels : FloatArray
        Where they are seen, shape (n, 2) [px].
    sd_px : FloatArray
        Standard deviation of each pixel coordinate, shape (n,) [px].
    picture_size : tuple of int
        Width and height [px].
    lens : Lens, optional
        Calibrated lens of the camera's mode, made in a picture of this shape and any size.
    pixel_aspect : float
        Width of a pixel over its height.
    near : Pose, optional
        Earlier pose of the same camera, to begin with.

    Returns
    -------
    Pose
        The most probable pose with its covariance: the inverse of the Gauss-Newton normal matrix, enlarged
        when the residuals are larger than stated.

    Raises
    ------
    CannotMeasure
        When the lens was made in a picture of another shape.

    Notes
    -----
    One plane seen at a slant gives the focal length when pixels are square and the principal point is at
    the centre (Zhang 2000, IEEE TPAMI 22:1330-1334, section 3.1, with one view and one unknown). A weak
    prior on the focal length takes over when the plane is seen squarely; k1 has a prior about zero, so that
    its ignorance is carried into every length.

    """
    lens = None if lens is None else lens.resized(*picture_size)
    fit = _Fit(points_m, pixels, np.maximum(sd_px, CORNER_FLOOR_PX), picture_size, pixel_aspect, lens)
    degrees = max(2 * len(points_m) - 7, 1)
    best: Minimum | None = None
    for starts in fit.starts() if near is None else [[near.parameters]]:
        for start in starts:
            found = least_squares(fit.residuals, fit.slopes, start)
            # A pose below the floor fits a plane as well: the camera must stand above it.
            above = camera_from(found.x, picture_size, pixel_aspect, lens).centre[2] > 0
            if above and (best is None or found.cost < best.cost):
                best = found
        if best is not None and 2 * best.cost < WELL_FITTED * degrees:
            break
    if best is None:
        raise ValueError("no pose above the floor fits the points")
    parameters = best.x
    camera = camera_from(parameters, picture_size, pixel_aspect, lens)
    errors = camera.project(points_m) - pixels
    rms = float(np.sqrt(np.mean(np.sum(errors**2, axis=1))))
    excess = max(float(np.sum((errors / fit.sd[:, None]) ** 2)) / degrees, 1.0)
    slopes = best.slopes
    weights = slopes[: 2 * len(points_m)] / np.sqrt(excess)
    prior = slopes[2 * len(points_m) :]
    covariance = np.linalg.pinv(weights.T @ weights + prior.T @ prior)
    focal_log_sd = float(np.sqrt(covariance[0, 0]))
    source: FocalSource = "sheet" if focal_log_sd < SOLVED_LOG_SD else "assumed"
    if lens is not None:
        source = "lens-file"
    focal = float(camera.matrix[0, 0])
    return Pose(
        camera=camera,
        focal_source=source,
        focal_px=Estimate(focal, focal * focal_log_sd),
        reprojection_rms_px=rms,
        parameters=parameters,
        covariance=covariance,
        picture_size=picture_size,
        pixel_aspect=pixel_aspect,
        lens=lens,
    )


def camera_from(
    parameters: FloatArray, picture_size: tuple[int, int], pixel_aspect: float, lens: Lens | None
) -> Camera:
    """Return the camera of a pose's parameters; see `Pose.parameters`."""
    focal = float(np.exp(parameters[0]))
    rotation, _ = cv2.Rodrigues(parameters[1:4])
    if lens is not None:
        matrix = lens.matrix.copy()
        matrix[:2, :2] *= focal / lens.matrix[0, 0]
        distortion = lens.distortion + np.array([parameters[7], 0, 0, 0, 0])
    else:
        width, height = picture_size
        matrix = np.array(
            [[focal, 0, (width - 1) / 2], [0, focal * pixel_aspect, (height - 1) / 2], [0, 0, 1]]
        )
        distortion = np.array([parameters[7], 0, 0, 0, 0])
    return Camera(
        matrix=matrix,
        distortion=distortion,
        rotation=np.asarray(rotation, dtype=np.float64),
        translation=parameters[4:7],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """The least-squares problem: weighted pixel errors, then the priors on log focal length and k1."""

    points_m: FloatArray
    pixels: FloatArray
    sd: FloatArray
    picture_size: tuple[int, int]
    pixel_aspect: float
    lens: Lens | None

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def starts(self) -> Iterator[list[FloatArray]]:
        """Yield, for plausible focal lengths, the one or two poses OpenCV finds for a plane."""
        focal_log, _, _ = self.priors()
        for stretch in (1.0, 0.75, 1.4) if self.lens is None else (1.0,):
            log_focal = focal_log + np.log(stretch)
            level = np.array([log_focal, 0, 0, 0, 0, 0, 1, 0], dtype=np.float64)
            camera = camera_from(level, self.picture_size, self.pixel_aspect, self.lens)
            count, rotations, translations, _ = cv2.solvePnPGeneric(
                self.points_m, self.pixels, camera.matrix, camera.distortion, flags=cv2.SOLVEPNP_IPPE
            )
            yield [
                np.concatenate([[log_focal], np.ravel(rotations[i]), np.ravel(translations[i]), [0.0]])
                for i in range(count)
            ]

    def priors(self) -> tuple[float, float, float]:
        """Return the expected log focal length, its standard deviation, and that of k1."""
        if self.lens is None:
            typical = float(np.log(TYPICAL_FOCAL_SHARE * max(self.picture_size)))
            return typical, TYPICAL_FOCAL_LOG_SD, DISTORTION_SD
        focal = float(self.lens.matrix[0, 0])
        return float(np.log(focal)), max(self.lens.focal_sd_px / focal, 1e-4), LENS_K1_SD

    def residuals(self, parameters: FloatArray) -> FloatArray:
        camera = camera_from(parameters, self.picture_size, self.pixel_aspect, self.lens)
        errors = (camera.project(self.points_m) - self.pixels) / self.sd[:, None]
        focal_log, focal_log_sd, k1_sd = self.priors()
        prior = [(parameters[0] - focal_log) / focal_log_sd, parameters[7] / k1_sd]
        return np.concatenate([errors.ravel(), prior])

    def slopes(self, parameters: FloatArray) -> FloatArray:
        camera = camera_from(parameters, self.picture_size, self.pixel_aspect, self.lens)
        _, jacobian = cv2.projectPoints(
            self.points_m, parameters[1:4], parameters[4:7], camera.matrix, camera.distortion
        )
        # OpenCV's columns: rotation vector, translation, fx, fy, cx, cy, k1, ...
        by_log_focal = camera.matrix[0, 0] * jacobian[:, 6] + camera.matrix[1, 1] * jacobian[:, 7]
        pixels = np.column_stack([by_log_focal, jacobian[:, :6], jacobian[:, 10]])
        _, focal_log_sd, k1_sd = self.priors()
        prior = np.zeros((2, 8))
        prior[0, 0], prior[1, 7] = 1 / focal_log_sd, 1 / k1_sd
        return np.vstack([pixels / np.repeat(self.sd, 2)[:, None], prior])


MOST_STEPS = 60
"""Chosen by us: from the closed-form starts a pose settles in five to fifteen."""

SETTLED_COST = 1e-10
"""Chosen by us: relative fall of the cost that no longer moves any parameter by a thousandth of its sd."""

FIRST_DAMPING = 1e-3
MOST_DAMPING = 1e12


class Minimum(NamedTuple):
    """Where the sum of squares is least."""

    x: FloatArray
    """Parameters, shape (m,)."""
    cost: float
    """Half the sum of squared residuals."""
    slopes: FloatArray
    """Derivatives of the residuals there, shape (n, m)."""


def least_squares(
    residuals: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    start: FloatArray,
) -> Minimum:
    """Minimise a sum of squares by Levenberg-Marquardt steps.

    Parameters
    ----------
    residuals : Callable
        Parameters, shape (m,), to residuals, shape (n,).
    slopes : Callable
        Parameters to their derivatives, shape (n, m).
    start : FloatArray
        Parameters to begin with.

    Notes
    -----
    Damping in proportion to the diagonal of the normal matrix (Marquardt 1963, J. SIAM 11:431-441), lowered
    tenfold after a step that helps and raised tenfold after one that does not.

    """
    x = np.asarray(start, dtype=np.float64)
    errors = residuals(x)
    cost = 0.5 * float(errors @ errors)
    design = slopes(x)
    damping = FIRST_DAMPING
    for _ in range(MOST_STEPS):
        normal = design.T @ design
        gradient = design.T @ errors
        while damping < MOST_DAMPING:
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
            tried = residuals(x + step)
            tried_cost = 0.5 * float(tried @ tried)
            if tried_cost < cost:
                break
            damping *= 10
        else:
            break
        settled = cost - tried_cost < SETTLED_COST * cost
        x, errors, cost = x + step, tried, tried_cost
        design = slopes(x)
        damping = max(damping / 10, 1e-12)
        if settled:
            break
    return Minimum(x, cost, design)
