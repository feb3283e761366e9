"""How surely places along the target line are known, source by source.

The lens is moved together with the path that it makes the tag tell, as the two partly undo each other: on
simulated strokes lengths were 0.26 % off, budgeted 0.35 % apart, 0.27 % together.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.calibration.camera import Camera, on_plane
from pennyfall.calibration.pose import Pose
from pennyfall.calibration.tag_height import AddressedTag
from pennyfall.kinematics.stroke.scale_errors import POWERS, ScaleErrors
from pennyfall.kinematics.values import BALL_RADIUS_M, Estimate, FloatArray
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.place.cameras import FrameCameras, pixels_on_plane
from pennyfall.tracker.place.head_path import SURFACE_STEPS, path_by_size
from pennyfall.tracker.place.path_shape import PathShape

PLACES = 9
"""Chosen by us: places of the stroke at which the shifts are looked at; a cubic needs four."""
PATH_FRAMES = 50
"""Chosen by us: frames from which the path is told anew; its change needs fewer than the path itself."""
LAUNCH_WAY_M = 0.12
"""Chosen by us: half of the way on which a ball of middling speed is watched for its launch."""
NO_SCALE = 1.0
"""Relative standard deviation of lengths along a way that is no stroke's: its surface is not hit."""


def scale_errors(
    pose: Pose,
    origin: FloatArray,
    x_axis: FloatArray,
    pixel: PixelTrack,
    tag: AddressedTag,
    path: PathShape,
    turn: Estimate | None,
) -> tuple[ScaleErrors, float]:
    """Return how each source shifts places, and the relative sd of the stroke's whole length.

    Each source is moved by one standard deviation and the places of the stroke are taken anew; independent
    sources add in quadrature (JCGM 100:2008, 5.1.3, by finite differences). `turn` is what was known of the
    path beforehand; None where the tag's size did not tell the path.
    """
    camera = pose.camera.moved_to(origin, x_axis)
    seen_px = _spread_places(camera, pixel, tag)
    address_px = camera.project(tag.point_m[None, :])
    ball_px = camera.project(np.array([[0.0, 0.0, BALL_RADIUS_M], [LAUNCH_WAY_M, 0.0, BALL_RADIUS_M]]))

    def along(of: Camera, height_m: float, turn: float, curvature: float) -> FloatArray:
        point = of.meet_level(address_px, height_m)[0]
        rays = of.rays(seen_px)
        s = np.zeros(len(seen_px))
        for _ in range(SURFACE_STEPS):
            slope = turn + curvature * s
            across = turn * s + 0.5 * curvature * s**2
            touch = point + np.column_stack([s, across, np.zeros(len(s))])
            normal = np.column_stack([-slope, np.ones(len(s)), np.zeros(len(s))])
            s = on_plane(of.centre, rays, touch, normal)[:, 0] - point[0]
        return s

    def ball_way(of: Camera) -> float:
        start, end = of.meet_level(ball_px, BALL_RADIUS_M)
        return float(np.hypot(*(end - start)[:2]))

    few = _few_frames(pixel)

    def path_through(of: Camera) -> FloatArray:
        """Return turn and curvature: an unknown lens bends the path that the tag's size tells, too."""
        if turn is None:
            return np.zeros(2)
        point = of.meet_level(address_px, float(tag.point_m[2]))[0]
        by_size = path_by_size(FrameCameras(of, {}), few, replace(tag, point_m=point), turn)
        return np.array([by_size.turn_rad.value, by_size.curvature_per_m.value])

    best = np.array([tag.point_m[2], path.turn_rad.value, path.curvature_per_m.value])
    sds = np.array([tag.height_m.sd, path.turn_rad.sd, path.curvature_per_m.sd])
    base = along(camera, *best)
    cameras = [one.moved_to(origin, x_axis) for one in pose.perturbed()]
    unbent = path_through(camera)
    bent = [np.append(best[0], best[1:] + path_through(one) - unbent) for one in cameras]
    shifts = [along(one, *each) - base for one, each in zip(cameras, bent, strict=True)]
    shifts += [along(camera, *(best + step)) - base for step in np.diag(sds)]
    balls = [ball_way(one) / LAUNCH_WAY_M - 1 for one in cameras]
    # Height and path of the head say nothing about the ball.
    balls += [0.0] * len(sds)
    moved = np.array(shifts)
    hit = np.isfinite(base) & np.isfinite(moved).all(axis=0)  # a far ray may miss a path that turned
    if np.count_nonzero(hit) <= POWERS:
        return ScaleErrors.uniform(NO_SCALE), NO_SCALE
    powers = base[hit, None] ** np.arange(1, POWERS + 1)
    head = np.linalg.lstsq(powers, moved[:, hit].T, rcond=None)[0].T
    errors = ScaleErrors(head=np.asarray(head, dtype=np.float64), ball=np.array(balls))
    return errors, errors.relative_sd(float(base[hit].min()), float(base[hit].max()))


def plane_sd(camera: Camera, tag: AddressedTag) -> float:
    """Return how far the plane moves across the line when the tag stands a standard deviation higher [m]."""
    ray = tag.point_m - camera.centre
    return float(abs(ray[1] / ray[2]) * tag.height_m.sd)


def _spread_places(camera: Camera, pixel: PixelTrack, tag: AddressedTag) -> FloatArray:
    """Return where the head was seen at places spread evenly over its way, shape (PLACES, 2) [px]."""
    place = pixels_on_plane(
        FrameCameras(camera, {}), pixel.centre_px, tag.point_m, np.array([0.0, 1.0, 0.0])
    )[:, 0]
    seen = np.flatnonzero(np.isfinite(place))
    wanted = np.linspace(place[seen].min(), place[seen].max(), PLACES)
    nearest = [seen[np.argmin(np.abs(place[seen] - each))] for each in wanted]
    return np.asarray(pixel.centre_px[nearest])


def _few_frames(pixel: PixelTrack) -> PixelTrack:
    every = slice(None, None, max(len(pixel.time_s) // PATH_FRAMES, 1))
    return replace(
        pixel,
        time_s=pixel.time_s[every],
        seen=pixel.seen[every],
        centre_px=pixel.centre_px[every],
        covariance_px2=pixel.covariance_px2[every],
        jacobian=pixel.jacobian[every],
        stretch_covariance=pixel.stretch_covariance[every],
    )
