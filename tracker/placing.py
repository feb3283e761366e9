"""From pixels to metres: the head's place along the target line, from what is known about its motion."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.attitude import follow_attitude
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.pose import Pose
from pennyfall.calibration.tag_height import TYPICAL_HEIGHT, AddressedTag, place_tag
from pennyfall.calibration.tag_size import TagSizes, nearest_printed_side
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.tracks import BallTrack, HeadTrack
from pennyfall.kinematics.values import BoolArray, Direction, Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.ball_outline import BALL_RADIUS_M
from pennyfall.tracker.followed_ball import FollowedBall
from pennyfall.tracker.following import Followed, moved_camera
from pennyfall.tracker.head import PixelTrack
from pennyfall.tracker.path_shape import PathShape, fit_path, straight_path

CENTRE_FLOOR_PX = 0.03
"""Chosen by us: registration of a moving tag in a compressed clip scatters by 0.03 to 0.06 px even when its
own covariance says less."""

STRETCH_FLOOR = 0.002
"""Chosen by us: the stretch of a registered tag is not believed better than this."""

PATH_TURN_SD_RAD = 0.017
"""Chosen by us: the head's path at impact agrees with the ball's start to about a degree."""

FREE_TURN_SD_RAD = 0.035
"""Chosen by us: without a ball, how well the sheet is laid along the path."""

LARGEST_TURN_RAD = 0.10
"""Chosen by us: a ball that starts more than 6 degrees off the sheet's axis was mishit."""

BALL_DIRECTION_S = 0.15
"""Chosen by us: over this time after the start the ball runs straight on any green."""

REST_WINDOW_S = 0.08
REST_SPEED_MPS = 0.03
"""Chosen by us: slower than this over the window is rest at address."""

BALL_AHEAD_M = 0.12
"""Chosen by us: from the tag to the ball's middle at address it is 4 to 10 cm."""

ADDRESS_REACH_S = 6.0
"""Chosen by us: the address belonging to a stroke ends at most this long before its fastest moment."""

SURFACE_STEPS = 4
"""Meeting a curved surface by planes: each step gains two digits, four reach a micrometre."""

NEARNESS_SD = 0.03
"""Chosen by us: a head strays at most a few centimetres from its plane, seen from a metre or more."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PlacedHead:
    """Head and balls in metres, in the world under the ball."""

    head: HeadTrack
    balls: tuple[BallTrack, ...]
    direction: Direction
    camera: Camera
    """The camera in that world."""
    tag: AddressedTag
    path: PathShape
    sd_y_m: float
    """Standard deviation of the head's place across the line: how well its plane is known [m]."""
    scale_rel_sd: float
    """Relative standard deviation of lengths along the target line."""
    ball_x_m: FloatArray
    """The ball's place in every frame of the clip, shape (n,) [m]; NaN where not seen."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def place_head(
    followed: Followed, *, stated_height: Estimate | None, tag_sizes: TagSizes | None = None
) -> PlacedHead:
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
    level = _meet(cameras, pixel.centre_px, np.array([0.0, 0.0, 0.03]), np.array([0.0, 0.0, 1.0]))
    balls = [_ball_on_floor(ball, cameras) for ball in followed.balls]
    forward = _forward_sign(pixel, level[:, 0], followed.balls, balls)
    rest_ball = _struck(followed.balls, balls)
    origin = np.array([0.0, 0.0, 0.0]) if rest_ball is None else np.array([*rest_ball[0][:2], 0.0])
    x_axis = np.array([forward, 0.0, 0.0])
    camera = pose.camera.moved_to(origin, x_axis)
    moved = {index: one.moved_to(origin, x_axis) for index, one in cameras.moved.items()}
    here = FrameCameras(camera, moved)
    address = _address_frames(pixel, forward * (level[:, 0] - origin[0]), known_ball=rest_ball is not None)
    if tag_sizes is not None:
        pixel = _resized(pixel, here, address, tag_sizes)
    tag = _tag_at_address(here, pixel, address, stated_height, ball_known=rest_ball is not None)
    head, path = _in_plane(here, pixel, tag, _path_turn(rest_ball, forward))
    return PlacedHead(
        head=head,
        balls=tuple(_ball_track(ball, way, forward) for ball, way in zip(followed.balls, balls, strict=True)),
        direction="with the arrow" if forward > 0 else "against the arrow",
        camera=camera,
        tag=tag,
        path=path,
        sd_y_m=_plane_sd(camera, tag),
        scale_rel_sd=_scale_sd(pose, origin, x_axis, pixel, tag, path),
        ball_x_m=_ball_by_frame(len(pixel.time_s), followed.balls, balls, origin[0], forward),
    )


@dataclass(frozen=True, slots=True, eq=False)
class FrameCameras:
    """The camera of every frame: one at rest, another where it had moved."""

    rest: Camera
    moved: dict[int, Camera]

    def at(self, index: int) -> Camera:
        """Return the camera of one frame."""
        return self.moved.get(index, self.rest)


def frame_cameras(followed: Followed, pose: Pose) -> FrameCameras:
    """Return the camera of every frame of a followed clip."""
    return FrameCameras(
        pose.camera, {index: moved_camera(pose.camera, sight) for index, sight in followed.moved.items()}
    )


def _meet(cameras: FrameCameras, pixels: FloatArray, point: FloatArray, normal: FloatArray) -> FloatArray:
    """Return where each frame's pixel ray meets a plane (or its own), shape (n, 3); NaN where not seen."""
    met = np.full((len(pixels), 3), np.nan)
    seen = np.isfinite(pixels[:, 0])
    point, normal = np.broadcast_to(point, met.shape), np.broadcast_to(normal, met.shape)
    met[seen] = cameras.rest.meet_plane(pixels[seen], point[seen], normal[seen])
    for index, camera in cameras.moved.items():
        if index < len(seen) and seen[index]:
            met[index] = camera.meet_plane(pixels[index : index + 1], point[index], normal[index])[0]
    return met


def _ball_on_floor(ball: FollowedBall, cameras: FrameCameras) -> FloatArray:
    """Return the ball's centre in each frame it was located, shape (m, 3) [m]."""
    up = np.array([0.0, 0.0, 1.0])
    centre = np.array([0.0, 0.0, BALL_RADIUS_M])
    return np.concatenate(
        [
            cameras.at(int(index)).meet_plane(place[None, :], centre, up)
            for index, place in zip(ball.frame, ball.centre_px, strict=True)
        ]
        or [np.empty((0, 3))]
    )


def _struck(
    balls: tuple[FollowedBall, ...], ways: list[FloatArray]
) -> tuple[FloatArray, FloatArray, FollowedBall] | None:
    """Return rest place, way and ball of the first ball that left, else of the first that lay there."""
    for wanted in (True, False):
        for ball, way in zip(balls, ways, strict=True):
            resting = ball.track.at_rest
            if ball.departed == wanted and resting.any():
                return np.median(way[resting], axis=0), way, ball
    return None


def _forward_sign(
    pixel: PixelTrack, level_x: FloatArray, balls: tuple[FollowedBall, ...], ways: list[FloatArray]
) -> float:
    """Return +1 when the target lies along the sheet's arrow, -1 when against it.

    The target is where the ball goes; if none went, the side of the head on which one lies; with no ball, the
    way of the fastest motion: the forward swing takes half the time of the backswing.
    """
    votes = 0.0
    for ball, way in zip(balls, ways, strict=True):
        resting = ball.track.at_rest
        if ball.departed and resting.any() and (~resting).any():
            votes += np.sign(way[-1, 0] - np.median(way[resting, 0]))
    if votes == 0:
        votes = _side_of_ball(pixel, level_x, balls, ways)
    if votes == 0:
        speed = _slope(pixel.time_s, level_x, pixel.seen)
        if not np.any(np.isfinite(speed)):
            raise CannotMeasure(
                "The head tag is seen in too few frames to tell how it moves.",
                fix="Film in brighter light, with the whole stroke in the picture.",
            )
        votes = float(speed[np.nanargmax(np.abs(speed))])
    return 1.0 if votes >= 0 else -1.0


def _side_of_ball(
    pixel: PixelTrack, level_x: FloatArray, balls: tuple[FollowedBall, ...], ways: list[FloatArray]
) -> float:
    """Return on which side of the head a ball lies when the head is nearest to it, 0 with no ball near."""
    sides = 0.0
    for ball, way in zip(balls, ways, strict=True):
        if not ball.track.at_rest.any():
            continue
        apart = np.median(way[ball.track.at_rest], axis=0)[0] - level_x
        still = np.abs(_slope(pixel.time_s, level_x, pixel.seen)) < REST_SPEED_MPS
        if still.any():
            nearest = float(apart[still][np.argmin(np.abs(apart[still]))])
            sides += np.sign(nearest) if abs(nearest) < BALL_AHEAD_M else 0.0
    return sides


def _slope(time_s: FloatArray, value: FloatArray, seen: BoolArray) -> FloatArray:
    """Return the mean slope over about 30 ms around each frame; NaN where it cannot be had."""
    slope = np.full(len(time_s), np.nan)
    good = np.flatnonzero(seen & np.isfinite(value))
    if len(good) < 3:
        return slope
    step = max(round(0.015 / float(np.median(np.diff(time_s)))), 1)
    if len(good) <= 2 * step:
        return slope
    late, early = good[2 * step :], good[: -2 * step]
    slope[good[step:-step]] = (value[late] - value[early]) / (time_s[late] - time_s[early])
    return slope


def _address_frames(pixel: PixelTrack, level_x: FloatArray, *, known_ball: bool) -> BoolArray:
    """Return the frames in which the head rests at address, shape (n,); `level_x` toward the target."""
    speed = _slope(pixel.time_s, level_x, pixel.seen)
    if not np.any(np.isfinite(speed)):
        raise CannotMeasure(
            "The head is seen in too few frames to find a stroke.",
            fix="Film in brighter light, with the whole stroke in the picture.",
        )
    fastest = int(np.nanargmax(speed))
    meeting = -0.05 if known_ball else level_x[fastest]
    slow = np.abs(speed) < REST_SPEED_MPS
    before = (pixel.time_s < pixel.time_s[fastest]) & (pixel.time_s > pixel.time_s[fastest] - ADDRESS_REACH_S)
    best, best_distance = None, np.inf
    for run in _runs(slow & before & pixel.seen):
        lasts = pixel.time_s[run[-1]] - pixel.time_s[run[0]]
        distance = abs(float(np.median(level_x[run])) - meeting)
        if lasts >= REST_WINDOW_S and distance < best_distance:
            best, best_distance = run, distance
    frames = np.zeros(len(speed), dtype=np.bool_)
    if best is None:
        # Never at rest: the head passes its address height where it meets the ball.
        frames[fastest] = True
    else:
        frames[best] = True
    return frames


def _runs(flags: BoolArray) -> list[NDArray[np.intp]]:
    """Return the index runs in which a flag holds."""
    index = np.flatnonzero(flags)
    return [run for run in np.split(index, np.flatnonzero(np.diff(index) > 1) + 1) if len(run)]


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
    frames = np.flatnonzero(address)
    middle = int(frames[len(frames) // 2])
    still = [int(k) for k in frames if k not in cameras.moved] or [middle]
    centre = np.mean(pixel.centre_px[still], axis=0)
    jacobian = np.mean(pixel.jacobian[still], axis=0)
    return place_tag(
        cameras.at(middle),
        centre,
        jacobian if np.all(np.isfinite(jacobian)) else None,
        stated=stated_height,
        ball_y_m=0.0 if ball_known else None,
    )


def _path_turn(rest_ball: tuple[FloatArray, FloatArray, FollowedBall] | None, forward: float) -> Estimate:
    """Return what the ball tells of the turn of the head's path against the target line [rad]."""
    if rest_ball is not None and rest_ball[2].departed:
        rest, way, ball = rest_ball
        track = ball.track
        moving = ~track.at_rest
        early = (
            moving & (track.time_s <= track.time_s[moving][0] + BALL_DIRECTION_S) if moving.any() else moving
        )
        if early.sum() >= 2:
            along = forward * (way[early, 0] - rest[0])
            across = forward * (way[early, 1] - rest[1])
            turn = float(np.arctan2(along @ across, along @ along))
            if abs(turn) < LARGEST_TURN_RAD:
                return Estimate(turn, PATH_TURN_SD_RAD)
    return Estimate(0.0, FREE_TURN_SD_RAD)


def _in_plane(
    cameras: FrameCameras, pixel: PixelTrack, tag: AddressedTag, turn: Estimate
) -> tuple[HeadTrack, PathShape]:
    """Meet each frame's pixel ray with the upright surface over the head's path."""
    path = straight_path(turn)
    points = _on_path(cameras, pixel, tag, path)
    tilt, tilt_sd, nearness, nearness_sd = _attitudes(cameras, pixel, points, tag)
    if not cameras.moved:
        path = fit_path(cameras.rest.centre, tag.point_m, points, nearness, nearness_sd, turn_rad=turn)
        points = _on_path(cameras, pixel, tag, path)
    seen = pixel.seen & np.isfinite(points[:, 0])
    normal = np.array([-path.turn_rad.value, 1.0, 0.0])
    sd_x, sd_z = _position_sd(cameras, pixel, tag.point_m, normal)
    points[~seen] = np.nan
    head = HeadTrack(
        time_s=pixel.time_s,
        seen=seen,
        x_m=points[:, 0],
        y_m=points[:, 1],
        z_m=points[:, 2],
        sd_x_m=np.where(seen, sd_x, np.nan),
        sd_z_m=np.where(seen, sd_z, np.nan),
        tilt_rad=tilt - tag.tilt_rad,
        sd_tilt_rad=tilt_sd,
        exposure_s=pixel.exposure_s,
    )
    return head, path


def _on_path(cameras: FrameCameras, pixel: PixelTrack, tag: AddressedTag, path: PathShape) -> FloatArray:
    """Return where the rays meet the upright surface over a path, shape (n, 3) [m]."""
    count = len(pixel.time_s)
    along = np.zeros(count)
    points = np.full((count, 3), np.nan)
    for _ in range(SURFACE_STEPS):
        slope = path.slope(along)
        touch = tag.point_m + np.column_stack([along, path.across(along), np.zeros(count)])
        normal = np.column_stack([-slope, np.ones(count), np.zeros(count)])
        points = _meet(cameras, pixel.centre_px, touch, normal)
        along = np.where(np.isfinite(points[:, 0]), points[:, 0] - tag.point_m[0], 0.0)
    return points


def _attitudes(
    cameras: FrameCameras, pixel: PixelTrack, points: FloatArray, tag: AddressedTag
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return tilt and nearness with their standard deviations, shapes (n,); NaN without a tag."""
    count = len(points)
    found = np.full((4, count), np.nan)
    known = np.isfinite(points[:, 0]) & np.isfinite(pixel.jacobian[:, 0, 0])
    resting = known & ~np.isin(np.arange(count), list(cameras.moved))
    groups = [np.flatnonzero(resting)] if resting.any() else []
    groups += [np.array([index]) for index in sorted(cameras.moved) if index < count and known[index]]
    for group in groups:
        _, tilt, nearness, covariance = follow_attitude(
            cameras.at(int(group[0])),
            points[group],
            pixel.jacobian[group],
            pixel.stretch_covariance[group] + STRETCH_FLOOR**2 * np.eye(4),
            turn_rad=tag.turn_rad,
            roll_rad=tag.roll_rad,
            nearness_sd=NEARNESS_SD,
        )
        found[:, group] = tilt, np.sqrt(covariance[:, 1, 1]), nearness, np.sqrt(covariance[:, 2, 2])
    return found[0], found[1], found[2], found[3]


def _position_sd(
    cameras: FrameCameras, pixel: PixelTrack, point: FloatArray, normal: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the standard deviations of x and z from the covariance of the pixel, shapes (n,) [m]."""
    step = 0.5
    slopes = np.stack(
        [
            _meet(cameras, pixel.centre_px + shift, point, normal)
            - _meet(cameras, pixel.centre_px - shift, point, normal)
            for shift in (np.array([step, 0.0]), np.array([0.0, step]))
        ],
        axis=-1,
    ) / (2 * step)
    noise = pixel.covariance_px2 + CENTRE_FLOOR_PX**2 * np.eye(2)
    spread = slopes @ noise @ np.swapaxes(slopes, 1, 2)
    return np.sqrt(spread[:, 0, 0]), np.sqrt(spread[:, 2, 2])


def _scale_sd(
    pose: Pose,
    origin: FloatArray,
    x_axis: FloatArray,
    pixel: PixelTrack,
    tag: AddressedTag,
    path: PathShape,
) -> float:
    """Return the relative standard deviation of lengths along the target line.

    Each source is moved by one standard deviation and the length between the stroke's outermost places is
    taken anew; the changes add in quadrature (JCGM 100:2008, 5.1.3, by finite differences).
    """
    camera = pose.camera.moved_to(origin, x_axis)
    place = _meet(FrameCameras(camera, {}), pixel.centre_px, tag.point_m, np.array([0.0, 1.0, 0.0]))[:, 0]
    seen = np.flatnonzero(np.isfinite(place))
    ends = pixel.centre_px[[seen[np.argmin(place[seen])], seen[np.argmax(place[seen])]]]
    address_px = camera.project(tag.point_m[None, :])
    up = np.array([0.0, 0.0, 1.0])

    def length(of: Camera, height_m: float, turn: float, curvature: float) -> float:
        point = of.meet_plane(address_px, np.array([0.0, 0.0, height_m]), up)[0]
        along = np.zeros(2)
        for _ in range(SURFACE_STEPS):
            slope = turn + curvature * along
            across = turn * along + 0.5 * curvature * along**2
            touch = point + np.column_stack([along, across, np.zeros(2)])
            met = of.meet_plane(ends, touch, np.column_stack([-slope, np.ones(2), np.zeros(2)]))
            along = met[:, 0] - point[0]
        return float(along[1] - along[0])

    best = (float(tag.point_m[2]), path.turn_rad.value, path.curvature_per_m.value)
    base = length(camera, *best)
    changes = [length(one.moved_to(origin, x_axis), *best) - base for one in pose.perturbed()]
    sds = (tag.height_m.sd, path.turn_rad.sd, path.curvature_per_m.sd)
    for which, sd in enumerate(sds):
        shifted = list(best)
        shifted[which] += sd
        changes.append(length(camera, *shifted) - base)
    return float(np.sqrt(np.sum(np.square(changes))) / abs(base)) if base else float("nan")


def _plane_sd(camera: Camera, tag: AddressedTag) -> float:
    """Return how far the plane moves across the line when the tag stands a standard deviation higher [m]."""
    ray = tag.point_m - camera.centre
    return float(abs(ray[1] / ray[2]) * tag.height_m.sd)


def _ball_track(ball: FollowedBall, way: FloatArray, forward: float) -> BallTrack:
    track = ball.track
    rest = np.median(way[track.at_rest], axis=0) if track.at_rest.any() else way[0]
    return BallTrack(
        time_s=track.time_s,
        x_m=forward * (way[:, 0] - rest[0]),
        y_m=forward * (way[:, 1] - rest[1]),
        sd_x_m=track.sd_x_m,
        at_rest=track.at_rest,
    )


def _ball_by_frame(
    count: int, balls: tuple[FollowedBall, ...], ways: list[FloatArray], origin_x: float, forward: float
) -> FloatArray:
    place = np.full(count, np.nan)
    for ball, way in zip(balls, ways, strict=True):
        place[ball.frame] = forward * (way[:, 0] - origin_x)
    return place
