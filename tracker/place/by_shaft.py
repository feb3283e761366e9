"""The head's place and tilt from its shaft's line, extended down to the height of the ball.

Line and head are one rigid body, so the line's own extension passes the head at the ball's height wherever
the club is: no lie angle and no slant of the camera enters the place, but for the few centimetres by which a
head rises along its arc. The tilt does need both: a shaft that leans toward the player seems to turn as it
moves across the picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from pennyfall.calibration.camera import Camera, on_plane
from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import BALL_RADIUS_M, BoolArray, Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.follow.pixel_track import PixelTrack

LIE = Estimate(float(np.radians(71.0)), float(np.radians(2.5)))
"""Angle of the shaft over the floor: putters are sold at 68 to 73 degrees (common practice, no source); the
rules ask for 10 degrees and more from upright (Rules of Golf, Equipment Rules part 2, 1d, from memory)."""

ACROSS = Estimate(0.012, 0.015)
"""Chosen by us: how far beyond the ball's middle, toward the player, the shaft's line meets the ball's height
[m]: it joins the head at its middle or toward its heel."""

TURN = Estimate(0.8, 0.12)
"""Turn of the club along its way [rad/m]: one over the height of its hub above the head, 1.1 to 1.5 m. Chosen
by us: a putter of 0.85 m in hands that hang from shoulders."""

UPRIGHT_SD_M = 0.06
"""Chosen by us: how far from under the hub the ball is addressed, as 3 degrees of lean."""

SLOPE_SD = 0.006
"""Chosen by us: how far the slope strays from that of a club about one hub, all the stroke alike: a third of
a degree."""

RISE_SD_PX, RISE_SD_SHARE, RISE_ALIKE = 4.0, 0.08, 0.5
"""Chosen by us: how far the rise that is read strays, and which share of the frames err alike: on clips
rendered by path tracing by 3 of 85 rows, by 4 where the club swings into shadow, and by up to 8 where it
swings in a leaning plane. As independent from frame to frame it put the slant of a camera off by 20
degrees."""

FRAMES = 40
"""Chosen by us: frames to which camera and club are fitted; more lie on the same curve."""

ALONG_SHAFT_M = 0.15
PLACE_STEPS, NEWTON_STEPS, SMALL_RAD = 5, 4, 1e-4
STEEPEST_RAD = 0.9


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Swing:
    """A camera and a club that swings before it."""

    pose: Pose
    """The camera, improved by what the swing tells of it, with its covariance."""
    camera: Camera
    """The same in the world under the ball, x toward the target."""
    lie_rad: float
    """Angle of the shaft over the floor at address."""
    across_m: float
    """Place of the shaft's line at the ball's height, across the target line [m]."""
    upright_m: float
    """Where along the line the shaft stands upright [m]."""
    turn_per_m: Estimate
    """Turn of the club along the line [rad/m]: one over the radius of its arc."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ShaftHead:
    """The head by its shaft."""

    pixel: PixelTrack
    """Where the shaft's line passes the height of the ball."""
    tilt_rad: FloatArray
    """Tilt, negative on the backswing side, shape (n,) [rad]; zero where the shaft stands upright."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def head_by_shaft(line: PixelTrack, swing: Swing) -> ShaftHead:
    """Return place and tilt of the head from the shaft's line.

    Parameters
    ----------
    line : PixelTrack
        The line in the picture; its slope must be there.
    swing : Swing
        Camera and club, as `fit_swing` returns them.

    """
    shaft = _Shaft.of(line, np.flatnonzero(line.seen))
    points, at = shaft.met(swing)
    tilt = _tilt(swing, points)
    for _ in range(NEWTON_STEPS):
        here = _seen_slope(swing, points, tilt)
        there = _seen_slope(swing, points, tilt + SMALL_RAD)
        tilt = tilt + (shaft.slope - here) * SMALL_RAD / (there - here)
    return ShaftHead(
        pixel=replace(line, centre_px=_spread(at, line.seen), slope=None, rise_px=None),
        tilt_rad=_spread(tilt, line.seen),
    )


def fit_swing(line: PixelTrack, pose: Pose, origin: FloatArray, x_axis: FloatArray) -> Swing:
    """Return camera and club that agree with a shaft's lines and with the rise of its head.

    Parameters
    ----------
    line : PixelTrack
        The line in the picture, and by how many rows the head stands higher than at address.
    pose : Pose
        The camera as it is known otherwise; its covariance is the prior.
    origin, x_axis : FloatArray
        The point under the ball at rest, and the way to the target, in the world of the pose, shape (3,).

    Notes
    -----
    The most probable values of pose, lie, place across and turn under Gaussian priors, by least squares. From
    the line alone a steeper camera and a shorter radius look alike; the rows by which the head rises part
    them where the camera looks down by 50 degrees and more.

    """
    frames = np.flatnonzero(line.seen)
    shaft = _Shaft.of(line, frames[:: max(len(frames) // FRAMES, 1)])
    spread = np.linalg.cholesky(pose.covariance + 1e-15 * np.eye(8))
    risen = np.isfinite(shaft.rise)
    alike = max(RISE_ALIKE * float(np.count_nonzero(risen)), 1.0)
    rise_sd = np.sqrt(alike) * np.hypot(RISE_SD_PX, RISE_SD_SHARE * shaft.rise[risen])

    def swing_of(state: FloatArray, turn_sd: float = 0.0) -> Swing:
        parameters = pose.parameters + spread @ state[:8]
        camera = pose.camera_at(parameters).moved_to(origin, x_axis)
        return Swing(
            pose=replace(pose, camera=pose.camera_at(parameters), parameters=parameters),
            camera=camera,
            lie_rad=LIE.value + LIE.sd * float(state[8]),
            across_m=_away(camera) * (ACROSS.value + ACROSS.sd * float(state[9])),
            upright_m=UPRIGHT_SD_M * float(state[10]),
            turn_per_m=Estimate(TURN.value + TURN.sd * float(state[11]), turn_sd),
        )

    def residuals(state: FloatArray) -> FloatArray:
        swing = swing_of(state)
        points, at = shaft.met(swing)
        slope = (shaft.slope - _seen_slope(swing, points, _tilt(swing, points))) / SLOPE_SD
        # The row at address is not known by itself: the mean goes.
        row = shaft.rise[risen] + at[risen, 1]
        return np.concatenate([state, slope, (row - row.mean()) / rise_sd if risen.any() else row])

    solved = least_squares(residuals, np.zeros(12))
    slopes = np.asarray(solved.jac, dtype=np.float64)
    covariance = np.linalg.pinv(slopes.T @ slopes)
    swing = swing_of(solved.x, TURN.sd * float(np.sqrt(covariance[11, 11])))
    return replace(swing, pose=replace(swing.pose, covariance=spread @ covariance[:8, :8] @ spread.T))


@dataclass(frozen=True, slots=True, eq=False)
class _Shaft:
    """The line in some frames: column at a middle row, slope, and rise of the head, shapes (k,)."""

    column: FloatArray
    middle: FloatArray
    slope: FloatArray
    rise: FloatArray

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @classmethod
    def of(cls, line: PixelTrack, frames: np.ndarray) -> _Shaft:
        if line.slope is None:
            raise ValueError("no shaft was followed")
        rise = np.full(len(frames), np.nan) if line.rise_px is None else line.rise_px[frames]
        return cls(line.centre_px[frames, 0], line.centre_px[frames, 1], line.slope[frames], rise)

    def met(self, swing: Swing) -> tuple[FloatArray, FloatArray]:
        """Return where the line meets the ball's height on the club, shapes (k, 3) [m] and (k, 2) [px]."""
        points = np.zeros((len(self.column), 3))
        points[:, 1] = swing.across_m
        at = np.zeros((len(self.column), 2))
        for _ in range(PLACE_STEPS):
            off = points[:, 0] - swing.upright_m
            points[:, 2] = BALL_RADIUS_M + 0.5 * swing.turn_per_m.value * off**2
            at[:, 1] = swing.camera.project(points)[:, 1]
            at[:, 0] = self.column + self.slope * (at[:, 1] - self.middle)
            rays = swing.camera.rays(at)
            points[:, 0] = on_plane(swing.camera.centre, rays, points, np.array([0.0, 1.0, 0.0]))[:, 0]
        return points, at


def _tilt(swing: Swing, points: FloatArray) -> FloatArray:
    """Return the tilt of a club about one hub where its head is at given points, shape (k,) [rad]."""
    sine = swing.turn_per_m.value * (points[:, 0] - swing.upright_m)
    return np.asarray(np.arcsin(np.clip(sine, -STEEPEST_RAD, STEEPEST_RAD)))


def _seen_slope(swing: Swing, points: FloatArray, tilt: FloatArray) -> FloatArray:
    """Return the slope in the picture of a shaft that stands on given points so tilted, shape (k,)."""
    up, away = np.sin(swing.lie_rad), _away(swing.camera) * np.cos(swing.lie_rad)
    along = np.column_stack([-np.sin(tilt) * up, np.full(len(tilt), away), np.cos(tilt) * up])
    lower, upper = swing.camera.project(points), swing.camera.project(points + ALONG_SHAFT_M * along)
    return np.asarray((upper[:, 0] - lower[:, 0]) / (upper[:, 1] - lower[:, 1]))


def _away(camera: Camera) -> float:
    """Return the side of the target line on which the player stands, facing the camera: +1 or -1."""
    return -1.0 if camera.centre[1] > 0 else 1.0


def _spread(values: FloatArray, seen: BoolArray) -> FloatArray:
    """Return the values of the frames seen among all, NaN elsewhere."""
    everywhere = np.full((len(seen), *values.shape[1:]), np.nan)
    everywhere[seen] = values
    return everywhere
