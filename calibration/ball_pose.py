"""A camera posed by a ball: its size gives the scale, its roll the target line, priors the slant."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import (
    DISTORTION_SD,
    LENS_K1_SD,
    TYPICAL_FOCAL_LOG_SD,
    TYPICAL_FOCAL_SHARE,
    FocalSource,
    Pose,
    camera_from,
)
from pennyfall.calibration.silhouette import silhouette
from pennyfall.kinematics.values import BALL_RADIUS_M, Estimate, FloatArray, freeze_arrays

BALL_SIZE = Estimate(0.001, 0.001)
"""By how much balls are larger than the least diameter, as a share. The rules set no upper limit and makers
stay close above the least, 42.67 to about 42.8 mm (common practice, no source)."""

OUTLINE_READS_PX = Estimate(-0.2, 0.16)
"""What the outline of steepest luma is off the ball's own [px], where its shading was not looked at: its limb
is darker than its middle, and what blurs the edge reaches into it. Read in thirteen clips of four renderers
with known truth, of balls of 18 to 28 px: 0.0 to -0.56."""

SLANT = Estimate(np.radians(42.0), np.radians(12.0))
"""Angle at which the ball is looked down at. Chosen by us: a phone on a stand or in the hand, 0.3 to 1.4 m
above the floor and about as far away."""

ROLL_SD_RAD = np.radians(4.0)
"""Turn of the picture about the line of sight. Chosen by us: a phone is held or stood level to this."""

LINE_SD_RAD = np.radians(25.0)
"""Before the ball has rolled: how far the target line may run from the picture's own horizontal."""

REST_SD_PX = 0.15
"""Place of the outline of a resting ball."""

REST_SIZE_SD = 0.004
"""Relative standard deviation of its radius where all of the outline is free: noise and turf."""

WAY_SD_PX = 0.6
"""How straight the outline runs over the first half metre."""

WAY_SIZE_SD = 0.008
"""Scatter of the radius of the rolling ball over half a turn, as a share: its mark comes round."""

WAY_OFFSET = Estimate(-0.002, 0.006)
"""What all radii on the way are off the one at rest, as a share: smear, light and the head no longer beside
it; as read in the same clips."""

FILM_DIAGONAL_MM = float(np.hypot(36.0, 24.0))
"""A phone states its focal length by the diagonal (Apple, AVCaptureDevice.nominalFocalLengthIn35mmFilm)."""

STEADYING, FOCAL_LOG_SD = 1.05, 0.07
"""How much longer it is in the clip than the file says, and how surely. Chosen by us: by the video's own
diagonal it is as stated, by a photo's, of whose width the video shows all, 9 % more; steadying adds a little.
"""


def focal_from_35mm(equivalent_mm: float, picture_size: tuple[int, int]) -> Estimate:
    """Return the focal length [px] of a video whose file states its 35 mm equivalent.

    Parameters
    ----------
    equivalent_mm : float
        As the phone wrote it [mm].
    picture_size : tuple of int
        Width and height [px].

    """
    focal = equivalent_mm / FILM_DIAGONAL_MM * STEADYING * float(np.hypot(*picture_size))
    return Estimate(focal, FOCAL_LOG_SD * focal)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BallPose(Pose):
    """A pose whose distance goes with its focal length, since the ball tells their ratio only.

    With a focal length known to a fifth the two would otherwise part by two per cent at one deviation, for
    one is perturbed in its logarithm and the other is not.
    """

    def camera_at(self, parameters: FloatArray) -> Camera:
        """Return the camera of other parameters than the best; distances change with the focal length."""
        stretch = parameters[0] - self.parameters[0]
        here = self.parameters[4:7]
        place = (parameters[4:7] - stretch * here) * np.exp(stretch)
        moved = np.concatenate([parameters[:4], place, parameters[7:]])
        return camera_from(moved, self.picture_size, self.pixel_aspect, self.lens)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BallSight:
    """A ball in the picture: where it lay, and where it was seen on its way."""

    centre_px: FloatArray
    """Image of its centre at rest, shape (2,) [px]."""
    radius_px: float
    """Mean radius of its outline there, from that point [px]."""
    radius_sd: float = REST_SIZE_SD
    """Relative standard deviation of it; larger where a part was hidden."""
    reads_px: Estimate = OUTLINE_READS_PX
    """What the radii are read off the ball's own [px]."""
    way_px: FloatArray | None = None
    """Image of its centre on its way, shape (n, 2) [px]."""
    way_radii_px: FloatArray | None = None
    """Radius of its outline there, shape (n,) [px]; NaN where not known."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def pose_from_ball(
    sight: BallSight,
    *,
    picture_size: tuple[int, int],
    toward: int = 1,
    stated_focal: Estimate | None = None,
    lens: Lens | None = None,
    pixel_aspect: float = 1.0,
) -> BallPose:
    """Pose the camera over the floor on which a ball lies.

    Parameters
    ----------
    sight : BallSight
        The ball in the picture.
    picture_size : tuple of int
        Width and height [px].
    toward : int
        Where the target is while the ball has not rolled: +1 to the right of the picture, -1 to the left.
    stated_focal : Estimate, optional
        Focal length as the file states it [px]; see `focal_from_35mm`.
    lens : Lens, optional
        Calibrated lens of the camera's mode, made in a picture of this shape and any size.
    pixel_aspect : float
        Width of a pixel over its height.

    Returns
    -------
    BallPose
        Origin on the floor under the resting ball, x along its roll. The covariance holds what is not known:
        the ball's true size, what its outline reads, slant and roll of the camera, the lens.

    Raises
    ------
    CannotMeasure
        When the lens was made in a picture of another shape.

    Notes
    -----
    The most probable pose under Gaussian priors, with its covariance as the inverse of the normal matrix. The
    outline is that of the sphere: an ellipse whose middle is not the image of the ball's centre.

    """
    from scipy.optimize import least_squares  # 0.2 s, spent while the clip is decoded

    lens = None if lens is None else lens.resized(*picture_size)
    fit = _Fit(sight, picture_size, pixel_aspect, lens, stated_focal, toward)
    solved = least_squares(fit.residuals, fit.start(), jac="3-point", x_scale="jac")
    slopes = np.asarray(solved.jac, dtype=np.float64)
    covariance = np.linalg.pinv(slopes.T @ slopes)[:8, :8]
    camera = fit.camera(solved.x)
    focal = float(camera.matrix[0, 0])
    source: FocalSource = "assumed" if lens is None else "lens-file"
    return BallPose(
        camera=camera,
        focal_source=source,
        focal_px=Estimate(focal, focal * float(np.sqrt(covariance[0, 0]))),
        reprojection_rms_px=float("nan"),
        parameters=solved.x[:8],
        covariance=np.asarray(covariance, dtype=np.float64),
        picture_size=picture_size,
        pixel_aspect=pixel_aspect,
        lens=lens,
    )


def camera_over_ball(
    sight: BallSight,
    *,
    picture_size: tuple[int, int],
    toward: int = 1,
    stated_focal: Estimate | None = None,
    lens: Lens | None = None,
    pixel_aspect: float = 1.0,
) -> Camera:
    """Return the camera with which `pose_from_ball` begins: quick, with every prior at its mean."""
    lens = None if lens is None else lens.resized(*picture_size)
    fit = _Fit(sight, picture_size, pixel_aspect, lens, stated_focal, toward)
    return fit.camera(fit.start())


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """The least-squares problem.

    Its unknowns are those of `Pose.parameters`, then by what share the ball exceeds the least, by how many
    pixels its outline reads off, and by what share it reads off on the way besides.
    """

    sight: BallSight
    picture_size: tuple[int, int]
    pixel_aspect: float
    lens: Lens | None
    stated_focal: Estimate | None
    toward: int

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def camera(self, state: FloatArray) -> Camera:
        return camera_from(state[:8], self.picture_size, self.pixel_aspect, self.lens)

    def priors(self) -> tuple[float, float, float]:
        """Return the expected log focal length, its standard deviation, and that of k1."""
        if self.lens is not None:
            focal = float(self.lens.matrix[0, 0])
            return float(np.log(focal)), max(self.lens.focal_sd_px / focal, 1e-4), LENS_K1_SD
        if self.stated_focal is not None:
            stated = self.stated_focal
            return float(np.log(stated.value)), stated.sd / stated.value, DISTORTION_SD
        typical = TYPICAL_FOCAL_SHARE * max(self.picture_size)
        return float(np.log(typical)), TYPICAL_FOCAL_LOG_SD, DISTORTION_SD

    def start(self) -> FloatArray:
        """Return the level camera that looks down at the usual slant, x along the roll or the picture."""
        log_focal, _, _ = self.priors()
        level = self.camera(np.array([log_focal, 0, 0, 0, 0, 0, 1, 0], dtype=np.float64))
        ray = level.rays(self.sight.centre_px[None, :])[0]
        ray /= np.linalg.norm(ray)
        right = np.array([ray[2], 0.0, -ray[0]]) / np.hypot(ray[0], ray[2])
        below = np.cross(ray, right)
        up = -np.cos(SLANT.value) * below - np.sin(SLANT.value) * ray
        way = self.sight.way_px
        along = float(self.toward) * right
        if way is not None and len(way):
            step = level.rays(way[-1:])[0]
            step = step / np.linalg.norm(step) - ray
            # On the floor a step seen downward in the picture leads toward the camera.
            back = np.cross(up, right)
            along = (step @ right) * right + (step @ below) / np.sin(SLANT.value) * -back
            along /= np.linalg.norm(along)
        rotation = np.column_stack([along, np.cross(up, along), up])
        vector, _ = cv2.Rodrigues(rotation)
        distance = (
            float(level.matrix[0, 0]) * BALL_RADIUS_M / (self.sight.radius_px - self.sight.reads_px.value)
        )
        place = distance * ray - BALL_RADIUS_M * up
        return np.concatenate(
            [
                [log_focal],
                vector.ravel(),
                place,
                [0.0],
                [BALL_SIZE.value, self.sight.reads_px.value, WAY_OFFSET.value],
            ]
        )

    def residuals(self, state: FloatArray) -> FloatArray:
        camera, sight = self.camera(state), self.sight
        log_focal, log_focal_sd, k1_sd = self.priors()
        larger, reads_px, on_way = state[8:]
        rest = np.array([[0.0, 0.0, BALL_RADIUS_M]])
        size = BALL_RADIUS_M * (1.0 + larger)
        centre, points = silhouette(camera, rest, size)
        radius = float(np.hypot(*(points - centre[:, None, :])[0].T).mean()) + reads_px
        to_ball = rest[0] - camera.centre
        up = camera.rotation[:, 2]
        terms = [
            (centre[0] - sight.centre_px) / REST_SD_PX,
            [(np.log(radius) - np.log(sight.radius_px)) / sight.radius_sd],
            [(state[0] - log_focal) / log_focal_sd, state[7] / k1_sd],
            [(np.arcsin(-to_ball[2] / np.linalg.norm(to_ball)) - SLANT.value) / SLANT.sd],
            [np.arctan2(up[0], -up[1]) / ROLL_SD_RAD],
            [(larger - BALL_SIZE.value) / BALL_SIZE.sd],
            [(reads_px - sight.reads_px.value) / sight.reads_px.sd],
            [(on_way - WAY_OFFSET.value) / WAY_OFFSET.sd],
        ]
        if sight.way_px is None or not len(sight.way_px):
            across = float(self.toward) * camera.rotation[:, 0]
            terms.append([np.arctan2(across[2], across[0]) / LINE_SD_RAD])
            return np.concatenate(terms)
        along = camera.meet_level(sight.way_px, BALL_RADIUS_M)[:, 0]
        along = np.where(np.isfinite(along), along, 0.0)
        places = np.column_stack([along, np.zeros(len(along)), np.full(len(along), BALL_RADIUS_M)])
        centres, points = silhouette(camera, places, size)
        terms.append(((centres - sight.way_px) / WAY_SD_PX).ravel())
        if sight.way_radii_px is not None:
            radii = np.hypot(*np.moveaxis(points - centres[:, None, :], -1, 0)).mean(axis=1)
            read = np.log((radii + reads_px) * (1.0 + on_way)) - np.log(sight.way_radii_px)
            terms.append(read[np.isfinite(sight.way_radii_px)] / WAY_SIZE_SD)
        return np.concatenate(terms)
