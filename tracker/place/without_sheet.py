"""A clip without a printed sheet: the camera posed by the head's own tag as it rests at address.

The resting tag's four stretches pose it: on two rendered clips every length lay within its interval (± 5 to
6 %), and times were as good as with the sheet.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.ball_pose import OUTLINE_READS_PX
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import Pose
from pennyfall.calibration.tag_height import TYPICAL_HEIGHT
from pennyfall.calibration.tag_pose import pose_from_tag
from pennyfall.calibration.tag_size import TagSizes
from pennyfall.kinematics.values import Estimate
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.ball.outline import ball_outline, on_floor
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.place.address import REST_SPEED_MPS, REST_WINDOW_S

FEWEST_FRAMES = 12
"""Chosen by us: a tag seen less often shows no stroke."""


def posed_by_head_tag(
    pixel: PixelTrack,
    *,
    picture_size: tuple[int, int],
    stated_height: Estimate | None,
    lens: Lens | None = None,
    pixel_aspect: float = 1.0,
) -> Pose | None:
    """Return the camera posed by the head's tag, None where the tag was seen in too few frames.

    Parameters
    ----------
    pixel : PixelTrack
        The head's tag in the picture.
    picture_size : tuple of int
        Width and height [px].
    stated_height : Estimate or None
        Height of the tag above the floor, where it was measured [m].
    lens : Lens, optional
        Calibrated lens, made in a picture of the clip's shape.
    pixel_aspect : float
        Width of a pixel over its height.

    Notes
    -----
    Nothing tells the target line, so the world's x axis is the stroke's own principal direction, and the
    fastest motion is toward the target. The origin is under the tag at address.

    """
    known = pixel.seen & np.isfinite(pixel.jacobian[:, 0, 0])
    if np.count_nonzero(known) < FEWEST_FRAMES:
        return None
    resting = _resting_frames(pixel, np.flatnonzero(known))
    centre = np.mean(pixel.centre_px[resting], axis=0)
    jacobian = np.mean(pixel.jacobian[resting], axis=0)
    height_m = (stated_height or TYPICAL_HEIGHT).value

    def pose(turn_rad: float) -> Pose:
        return pose_from_tag(
            centre,
            jacobian,
            height_m=height_m,
            picture_size=picture_size,
            turn_rad=turn_rad,
            lens=lens,
            pixel_aspect=pixel_aspect,
        )

    heading = _heading(pose(0.0), pixel, height_m)
    return pose(-heading)


def _resting_frames(pixel: PixelTrack, frames: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the frames of the last rest before the fastest motion; that frame alone where there is none."""
    per_m = float(np.median(np.sqrt(np.abs(np.linalg.det(pixel.jacobian[frames])))))
    time = pixel.time_s[frames]
    step = max(round(0.015 / float(np.median(np.diff(time)))), 1)
    speed = np.zeros(len(frames))
    way = np.hypot(*(pixel.centre_px[frames][2 * step :] - pixel.centre_px[frames][: -2 * step]).T)
    speed[step:-step] = way / (time[2 * step :] - time[: -2 * step]) / per_m
    fastest = int(np.argmax(speed))
    slow = np.flatnonzero(speed[:fastest] < REST_SPEED_MPS)
    runs = np.split(slow, np.flatnonzero(np.diff(slow) > 1) + 1)
    rests = [run for run in runs if len(run) and time[run[-1]] - time[run[0]] >= REST_WINDOW_S]
    return frames[rests[-1]] if rests else frames[fastest : fastest + 1]


def _heading(pose: Pose, pixel: PixelTrack, height_m: float) -> float:
    """Return the direction of the stroke in a world along the tag, that of its fastest motion [rad]."""
    seen = np.flatnonzero(pixel.seen)
    places = pose.camera.meet_level(pixel.centre_px[seen], height_m)[:, :2]
    good = np.isfinite(places[:, 0])
    places, time = places[good], pixel.time_s[seen][good]
    _, _, axes = np.linalg.svd(places - places.mean(axis=0), full_matrices=False)
    along = places @ axes[0]
    speed = np.diff(along, n=1) / np.diff(time)
    smooth = np.convolve(speed, np.ones(3) / 3, mode="valid") if len(speed) >= 3 else speed
    forward = np.sign(smooth[np.argmax(np.abs(smooth))]) * axes[0]
    return float(np.arctan2(forward[1], forward[0]))


def sized_by_ball(pixel: PixelTrack, pose: Pose, ball: FollowedBall, sizes: TagSizes) -> PixelTrack:
    """Return the tag's track at the printed size under which a resting ball looks as large as it is.

    Parameters
    ----------
    pixel : PixelTrack
        The head's tag in the picture, under the assumed size.
    pose : Pose
        The camera posed by it.
    ball : FollowedBall
        A ball seen at rest.
    sizes : TagSizes
        The size assumed, and those in which it is printed: a fifth apart or more, where a ball tells 2 %.

    """
    centre = np.median(ball.centre_px[ball.at_rest], axis=0)
    radius_px = float(np.median(ball.radius_px[ball.at_rest])) - OUTLINE_READS_PX.value
    expected = ball_outline(pose.camera, on_floor(pose.camera, centre[None, :])[0])
    # With a tag larger than assumed everything is farther away, the ball too.
    larger = expected.radius_px / radius_px
    side = min(sizes.printed_m, key=lambda each: abs(np.log(each / (sizes.assumed_m * larger))))
    return replace(pixel, jacobian=pixel.jacobian * (sizes.assumed_m / side))
