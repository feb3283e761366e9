"""What following a clip of a known motion would give: pixel tracks with the errors that real ones have."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from pennyfall.calibration.attitude import projection_gradient
from pennyfall.calibration.layout import STANDARD_SHEET
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import Pose, solve_pose
from pennyfall.cli.proof.conditions import (
    BALL_NOISE_REACH_M,
    BALL_SHIFT_PX,
    BALL_SMEAR_S,
    BALL_SMEAR_SD,
    BALL_SMEAR_UNHARMFUL_M,
    HEADING_RAD,
    HEIGHT_SD_M,
    MOST_DISTORTION,
    PLACE_ERROR_PX,
    PLACE_ERROR_REACH_PX,
    PLANE_TILT_RAD,
    SHEET_CENTRE_PX,
    SHEET_CORNER_PX,
    SIZE_BIAS_SD,
    SIZE_DRIFT_REACH_M,
    SIZE_DRIFT_SD,
    SMEAR_SHARE_PX,
    SOURCES,
    STRETCH_SD,
    TIME_ERROR_S,
    TRUE_HEIGHT_M,
    Conditions,
)
from pennyfall.demo_clips.scene import ball_centre
from pennyfall.demo_clips.strokes import Performance
from pennyfall.kinematics.values import Estimate, FloatArray, IntArray
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack

EXPOSURE_STEPS = 5
BALL_REACH_M = 0.4
"""The ball is followed this far."""
SHEET_CENTRE_SD_PX = 0.05
SHEET_CORNER_SD_PX = 0.2
"""What the tracker states of the sheet's points."""
BALL_SD_M, TURNING_BALL_SD_M = 8e-5, 1.6e-4
"""What the tracker states of the ball's place, and what it adds while the ball turns."""
EDGE_PX = 4.0
"""A tag this near to the picture's edge is lost."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Filmed:
    """A simulated clip, as the tracker hands it over."""

    followed: Followed
    stated_height: Estimate | None


def film(
    conditions: Conditions, performance: Performance, seed: tuple[int, ...], again: Collection[str] = ()
) -> Filmed:
    """Return what following the clip of a performance gives.

    Parameters
    ----------
    conditions : Conditions
        How it is filmed.
    performance : Performance
        What is filmed.
    seed : tuple of int
        The same seed gives each source of error the same draws.
    again : collection of str
        Those of `SOURCES` that are drawn anew, all others as before.

    """
    draws = {
        name: np.random.default_rng((*seed, index, int(name in again))) for index, name in enumerate(SOURCES)
    }
    true = _with_unknowns(conditions, draws)
    count = int(performance.duration_s * true.rate_hz)
    time = np.asarray((np.arange(count) + true.phase) / true.rate_hz, dtype=np.float64)
    stamps = time + TIME_ERROR_S * draws["time base"].standard_normal(count)
    misread_m = HEIGHT_SD_M * draws["tag height"].standard_normal()
    followed = Followed(
        head=_head(true, performance, time, stamps, draws["head pixels"]),
        pose=_pose(true, draws["sheet pixels"]),
        sheet=None,
        moved={},
        sheet_lost=(),
        balls=(_ball(true, performance, time, stamps, draws["ball pixels"]),),
        head_ever_seen=True,
        sheet_tags_seen=4,
    )
    stated = Estimate(true.putter.tag_height_m + misread_m, HEIGHT_SD_M) if true.height_stated else None
    return Filmed(followed=followed, stated_height=stated)


def _with_unknowns(conditions: Conditions, draws: Mapping[str, np.random.Generator]) -> Conditions:
    """Return the conditions with what nobody knows beforehand: lens, height, path."""
    k1 = draws["lens"].uniform(-MOST_DISTORTION, MOST_DISTORTION)
    return replace(
        conditions,
        camera=replace(conditions.camera, distortion=np.array([k1, 0.0, 0.0, 0.0, 0.0])),
        putter=replace(
            conditions.putter,
            tag_height_m=draws["tag height"].uniform(*TRUE_HEIGHT_M),
            plane_tilt_rad=draws["path"].uniform(*PLANE_TILT_RAD),
        ),
        sheet=replace(conditions.sheet, heading_rad=draws["path"].normal(0.0, HEADING_RAD)),
    )


def _head(
    conditions: Conditions,
    performance: Performance,
    time: FloatArray,
    stamps: FloatArray,
    draw: np.random.Generator,
) -> PixelTrack:
    putter, camera = conditions.putter, conditions.camera
    count = len(time)
    places = performance.motion.position(time)
    poses = [putter.pose(float(u)) for u in places]
    points = np.array([point for _, point in poses])
    axes = np.array([turn[:, :2] for turn, _ in poses])
    during = np.mean([performance.motion.position(each) for each in _exposed(conditions, time)], axis=0)
    gradient = projection_gradient(camera, points)
    along = axes[:, :, 0]
    pixels = camera.project(points + (during - places)[:, None] * along)
    smear = np.abs(performance.motion.velocity(time)) * conditions.exposure_s
    smear_px = smear * np.linalg.norm(gradient @ along[:, :, None], axis=(1, 2))
    sd = conditions.head_noise_px * np.sqrt(1 + (smear_px / SMEAR_SHARE_PX) ** 2)
    error = sd[:, None] * np.column_stack(
        [red_noise(np.full(count, conditions.lag_one), draw) for _ in range(2)]
    )
    error += PLACE_ERROR_PX * _place_error(pixels, draw)
    stretch = STRETCH_SD * draw.standard_normal((count, 2, 2))
    stretch += np.eye(2) * SIZE_BIAS_SD * draw.standard_normal()
    reach = places[:, None, None] / SIZE_DRIFT_REACH_M
    drift = SIZE_DRIFT_SD * draw.standard_normal(2)
    stretch += np.eye(2) * (drift[0] * reach + drift[1] * reach**2)
    seen = _in_picture(pixels, conditions.picture)
    for _ in range(conditions.gaps):
        first = int(draw.integers(5, count - 20))
        seen[first : first + int(draw.integers(1, max(2, int(0.04 * conditions.rate_hz))))] = False
    pixels = (pixels + error)[_shown(pixels, conditions.skip_px)]
    pixels[~seen] = np.nan
    jacobian = (np.eye(2) + stretch) @ gradient @ axes
    jacobian[~seen] = np.nan
    stated = conditions.stated_share * sd
    return PixelTrack(
        time_s=stamps,
        seen=seen,
        centre_px=pixels,
        covariance_px2=stated[:, None, None] ** 2 * np.eye(2),
        jacobian=jacobian,
        stretch_covariance=np.broadcast_to(STRETCH_SD**2 * np.eye(4), (count, 4, 4)),
        exposure_s=conditions.exposure_s,
    )


def _exposed(conditions: Conditions, time: FloatArray) -> FloatArray:
    """Return instants within the exposure of each frame, which shows their mean, shape (k, n) [s]."""
    within = (np.arange(EXPOSURE_STEPS) - (EXPOSURE_STEPS - 1) / 2) / EXPOSURE_STEPS
    return time + conditions.exposure_s * within[:, None]


def _shown(pixels: FloatArray, skip_px: float) -> IntArray:
    """Return which frame's picture is shown in each frame: an earlier one while the tag has hardly moved."""
    shown = np.arange(len(pixels))
    for index in range(1, len(pixels)):
        if np.linalg.norm(pixels[index] - pixels[shown[index - 1]]) < skip_px:
            shown[index] = shown[index - 1]
    return shown


def red_noise(carry: FloatArray, draw: np.random.Generator) -> FloatArray:
    """Return first-order autoregressive noise of unit variance, told each value's correlation to the last."""
    noise = draw.standard_normal(len(carry))
    for index in range(1, len(carry)):
        noise[index] = carry[index] * noise[index - 1] + np.sqrt(1 - carry[index] ** 2) * noise[index]
    return noise


def _place_error(pixels: FloatArray, draw: np.random.Generator) -> FloatArray:
    """Return an error that is the same wherever the tag lies at the same place, shape (n, 2)."""
    waves, phases = draw.standard_normal((8, 2)), draw.uniform(0, 2 * np.pi, (8, 2))
    angle = pixels[:, None, :1] / PLACE_ERROR_REACH_PX * waves[None, :, :] + phases
    error: FloatArray = np.sqrt(2 / len(waves)) * np.cos(angle).sum(axis=1)
    return error


def _in_picture(pixels: FloatArray, picture: tuple[int, int]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    inside = (pixels > EDGE_PX) & (pixels < np.array(picture) - EDGE_PX)
    return np.asarray(inside.all(axis=1))


def _pose(conditions: Conditions, draw: np.random.Generator) -> Pose:
    corners = STANDARD_SHEET.corners
    centres = np.array([STANDARD_SHEET.centre(tag_id) for tag_id in STANDARD_SHEET.ids])
    points = np.concatenate([centres, *(corners[tag_id] for tag_id in STANDARD_SHEET.ids)])
    sizes = np.repeat([SHEET_CENTRE_PX, SHEET_CORNER_PX], [len(centres), len(points) - len(centres)])
    error = sizes[:, None] * draw.standard_normal((len(points), 2))
    camera = conditions.camera
    lens = None
    if conditions.lens_known:
        lens = Lens(
            matrix=camera.matrix,
            distortion=camera.distortion,
            width_px=conditions.picture[0],
            height_px=conditions.picture[1],
            rms_px=0.2,
            focal_sd_px=0.001 * float(camera.matrix[0, 0]),
        )
    return solve_pose(
        points,
        camera.project(conditions.sheet.place(points)) + error,
        np.repeat([SHEET_CENTRE_SD_PX, SHEET_CORNER_SD_PX], [len(centres), len(points) - len(centres)]),
        picture_size=conditions.picture,
        lens=lens,
    )


def _ball(
    conditions: Conditions,
    performance: Performance,
    time: FloatArray,
    stamps: FloatArray,
    draw: np.random.Generator,
) -> FollowedBall:
    ball = performance.balls[0]
    way = np.mean([ball.position(each) for each in _exposed(conditions, time)], axis=0)
    moving = ball.position(time) > 0  # at mid-exposure: a ball that left later is seen as it lay, nearly
    carry = np.exp(-np.diff(way[moving], prepend=0.0) / BALL_NOISE_REACH_M)
    way[moving] += _smear_error(conditions, performance, time[moving], draw)
    way[moving] += conditions.ball_noise_m * red_noise(carry, draw)
    error = np.where(moving[:, None], BALL_SHIFT_PX * draw.standard_normal(2), 0.0)
    kept = np.flatnonzero(way < BALL_REACH_M)
    pixels = conditions.camera.project(np.array([ball_centre(float(x)) for x in way[kept]]))
    return FollowedBall(
        time_s=stamps[kept],
        at_rest=~moving[kept],
        sd_x_m=np.hypot(BALL_SD_M, TURNING_BALL_SD_M * moving[kept]),
        frame=kept,
        centre_px=pixels + error[kept],
        radius_px=np.full(len(kept), 20.0),
        rest_m=ball_centre(0.0),
        confidence=1.0,
        departed=True,
    )


def _smear_error(
    conditions: Conditions, performance: Performance, time: FloatArray, draw: np.random.Generator
) -> FloatArray:
    """Return the error along the smear of a ball that moves, shape (n,) [m]."""
    event = performance.strokes[0]
    harm = max(event.ball_speed_mps * conditions.exposure_s - BALL_SMEAR_UNHARMFUL_M, 0.0)
    first, left = harm * np.array(BALL_SMEAR_SD) * draw.standard_normal(2)
    gone = np.minimum((time - event.impact_s) / BALL_SMEAR_S, 1.0)
    return np.asarray(first * (1 - gone) + left * gone)
