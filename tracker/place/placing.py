"""From pixels to metres: the head's place along the target line, from what is known about its motion."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.tag_height import TYPICAL_HEIGHT, AddressedTag, level_turn, place_tag
from pennyfall.calibration.tag_size import TagSizes, nearest_printed_side
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.tracks import BallTrack, HeadTrack
from pennyfall.kinematics.values import (
    BALL_RADIUS_M,
    BoolArray,
    Direction,
    Estimate,
    FloatArray,
    freeze_arrays,
)
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.place.address import address_frames, forward_sign
from pennyfall.tracker.place.balls import ball_by_frame, ball_on_floor, ball_track, path_turn, struck_ball
from pennyfall.tracker.place.by_shaft import ShaftHead, fit_swing, head_by_shaft
from pennyfall.tracker.place.cameras import FrameCameras, frame_cameras, pixels_on_level
from pennyfall.tracker.place.head_path import along_path
from pennyfall.tracker.place.scale_budget import plane_sd, scale_errors

QUARTER_RAD = np.pi / 2

SHAFT_HEIGHT = Estimate(BALL_RADIUS_M, 0.015)
"""Where the shaft's line is met: at the ball's height, nearer or farther by what is not known of where across
the head the shaft goes in [m]."""

SLOPE_LAW_SD_RAD = 0.004
"""Chosen by us: what the slope's law leaves of the tilt beside the error that grows along the line."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PlacedTracks:
    """Head and balls in metres, in the world under the ball."""

    head: HeadTrack
    balls: tuple[BallTrack, ...]
    direction: Direction
    camera: Camera
    """The camera in that world."""
    tag: AddressedTag
    tag_quarters_off: int
    """How many quarter turns the tag is stuck on off its right way; the track was turned back."""
    sd_y_m: float
    """Standard deviation of the head's place across the line: how well its plane is known [m]."""
    scale: ScaleErrors
    """How the errors of the calibration shift places along the target line."""
    scale_rel_sd: float
    """Relative standard deviation of the length between the stroke's outermost places."""
    ball_x_m: FloatArray
    """The ball's place in every frame of the clip, shape (n,) [m]; NaN where not seen."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def place_tracks(
    followed: Followed, *, stated_height: Estimate | None, tag_sizes: TagSizes | None = None
) -> PlacedTracks:
    """Turn what was followed in the picture into tracks along the target line.

    Parameters
    ----------
    followed : Followed
        What one pass over the clip saw; its pose must be there.
    stated_height : Estimate or None
        Height of the tag above the floor at address, where it was measured [m].
    tag_sizes : TagSizes, optional
        Sizes the tag is printed in, where nobody said which was stuck on.

    Raises
    ------
    CannotMeasure
        When the head is never at rest or never moves, so that there is nothing to place.

    """
    pose = followed.pose
    if pose is None:
        raise ValueError("the camera has no pose")
    pixel = followed.head
    cameras = frame_cameras(followed, pose)
    if pixel.slope is not None:  # all pictures were laid over the first
        cameras = FrameCameras(cameras.rest, {}, cameras.shaken)
    level = pixels_on_level(cameras, pixel.centre_px, TYPICAL_HEIGHT.value)
    balls = [ball_on_floor(ball, cameras) for ball in followed.balls]
    forward = forward_sign(pixel, level[:, 0], followed.balls, balls)
    rest_ball = struck_ball(followed.balls, balls)
    origin = np.array([0.0, 0.0, 0.0]) if rest_ball is None else np.array([*rest_ball[0][:2], 0.0])
    x_axis = np.array([forward, 0.0, 0.0])
    swing = None if pixel.slope is None else fit_swing(pixel, pose, origin, x_axis)
    if swing is not None:
        pose = swing.pose
    camera = pose.camera.moved_to(origin, x_axis)
    moved = {index: one.moved_to(origin, x_axis) for index, one in cameras.moved.items()}
    here = FrameCameras(camera, moved, cameras.shaken)
    by_shaft: ShaftHead | None = None
    if swing is not None:
        by_shaft = head_by_shaft(pixel, swing)
        pixel, stated_height = by_shaft.pixel, SHAFT_HEIGHT
        level = origin + forward * pixels_on_level(here, pixel.centre_px, SHAFT_HEIGHT.value)
    address = address_frames(pixel, forward * (level[:, 0] - origin[0]), known_ball=rest_ball is not None)
    if tag_sizes is not None:
        pixel = _resized(pixel, here, address, tag_sizes)
    pixel, quarters = squared_to_line(pixel, here, address)
    tag = _tag_at_address(here, pixel, address, stated_height, ball_known=rest_ball is not None)
    turn = path_turn(rest_ball, forward)
    head, path = along_path(here, pixel, tag, turn)
    if by_shaft is not None and swing is not None:
        head = replace(
            head,
            tilt_rad=by_shaft.tilt_rad,
            sd_tilt_rad=np.where(head.seen, SLOPE_LAW_SD_RAD, np.nan),
            # Its height follows from the turn and tells nothing more.
            sd_z_m=np.full_like(head.sd_z_m, np.nan),
            shaken_sd_x_m=pixel.slow_sd_px
            * float(np.nanmedian(head.sd_x_m / np.sqrt(pixel.covariance_px2[:, 0, 0]))),
            turn_sd_per_m=swing.turn_per_m.sd,
        )
    scale, scale_rel_sd = scale_errors(
        pose, origin, x_axis, pixel, tag, path, None if cameras.moved else turn
    )
    return PlacedTracks(
        head=head,
        balls=tuple(
            ball_track(ball, way, forward, origin) for ball, way in zip(followed.balls, balls, strict=True)
        ),
        direction="with the arrow" if forward > 0 else "against the arrow",
        camera=camera,
        tag=tag,
        tag_quarters_off=quarters,
        sd_y_m=plane_sd(camera, tag),
        scale=scale,
        scale_rel_sd=scale_rel_sd,
        ball_x_m=ball_by_frame(len(pixel.time_s), followed.balls, balls, origin[0], forward),
    )


def _resized(pixel: PixelTrack, cameras: FrameCameras, address: BoolArray, sizes: TagSizes) -> PixelTrack:
    """Return the track with the tag at the printed size that fits."""
    frame = int(np.flatnonzero(address)[0])
    if not np.all(np.isfinite(pixel.jacobian[frame])):
        return pixel
    side = nearest_printed_side(
        cameras.at(frame),
        pixel.centre_px[frame],
        pixel.jacobian[frame],
        sizes,
        height_m=TYPICAL_HEIGHT.value,
    )
    return replace(pixel, jacobian=pixel.jacobian * (sizes.assumed_m / side))


def _tag_at_address(
    cameras: FrameCameras,
    pixel: PixelTrack,
    address: BoolArray,
    stated_height: Estimate | None,
    *,
    ball_known: bool,
) -> AddressedTag:
    # In a held phone every frame has its own camera: on the level of the tag they agree where it lies. By one
    # camera for all, a phone moved during address put the stroke plane 7 to 12 mm off: speeds 0.9 % low, 2.5
    # standard deviations; so, 0.3 %.
    height_m = TYPICAL_HEIGHT.value if stated_height is None else stated_height.value
    level = pixels_on_level(cameras, pixel.centre_px, height_m)
    centre = cameras.rest.project(np.mean(level[address], axis=0, keepdims=True))[0]
    jacobian = np.mean(pixel.jacobian[address], axis=0)
    return place_tag(
        cameras.rest,
        centre,
        jacobian if np.all(np.isfinite(jacobian)) else None,
        stated=stated_height,
        ball_y_m=0.0 if ball_known else None,
    )


def squared_to_line(pixel: PixelTrack, cameras: FrameCameras, address: BoolArray) -> tuple[PixelTrack, int]:
    """Return the track with the tag's front along the target line, and how many quarter turns it was off.

    The head's tilt is the rise of the tag's front: of a tag that was stuck on the wrong way round, the front
    would be the head's heel or back. Upside down the tilt came out with the wrong sign, and the coin left
    elsewhere.
    """
    frames = np.flatnonzero(address & np.isfinite(pixel.jacobian[:, 0, 0]))
    if not len(frames):
        return pixel, 0
    frame = int(frames[len(frames) // 2])
    turn = level_turn(cameras.at(frame), pixel.centre_px[frame], pixel.jacobian[frame], TYPICAL_HEIGHT.value)
    quarters = round(turn / QUARTER_RAD)
    if quarters == 0:
        return pixel, 0
    c, s = np.cos(quarters * QUARTER_RAD), np.sin(quarters * QUARTER_RAD)
    back = np.array([[c, s], [-s, c]])
    return replace(pixel, jacobian=pixel.jacobian @ back), abs(quarters)
