"""The head met on the upright surface over its path: place, tilt, and how surely."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.attitude import follow_attitude
from pennyfall.calibration.camera import on_plane
from pennyfall.calibration.tag_height import AddressedTag
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.place.cameras import FrameCameras, frame_rays, pixels_on_plane
from pennyfall.tracker.place.path_shape import PathShape, fit_path, straight_path

CENTRE_FLOOR_PX = 0.03
"""Chosen by us: registration of a moving tag in a compressed clip scatters by 0.03 to 0.06 px even when its
own covariance says less."""

STRETCH_FLOOR = 0.002
"""Chosen by us: the stretch of a registered tag is not believed better than this."""

SHAKEN_PX = 0.05
"""Chosen by us: what placing a held camera anew by the sheet leaves at the head. On a clip rendered by path
tracing and shaken by half a degree the head's place erred by 0.045 px (0.056 mm), correlated by 0.65 from
frame to frame and by 0.44 over three, beside the 0.03 px (0.031 mm), uncorrelated, of the same clip on a
stand; without this, accelerations were off by 5 standard deviations."""

SURFACE_STEPS = 4
"""Meeting a curved surface by planes: each step gains two digits, four reach a micrometre."""

NEARNESS_SD = 0.03
"""Chosen by us: a head strays at most a few centimetres from its plane, seen from a metre or more."""


def path_by_size(cameras: FrameCameras, pixel: PixelTrack, tag: AddressedTag, turn: Estimate) -> PathShape:
    """Return the path by the tag's size alone, whatever else a frame shows."""
    points = _on_path(cameras, pixel, tag, straight_path(turn))
    _, _, nearness, nearness_sd = _attitudes(cameras, pixel, points, tag)
    return fit_path(cameras.rest.centre, tag.point_m, points, nearness, nearness_sd, turn_rad=turn)


def along_path(
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
    noise_px2 = pixel.covariance_px2 + CENTRE_FLOOR_PX**2 * np.eye(2)
    sd_x, sd_z = _position_sd(cameras, pixel, tag.point_m, normal, noise_px2)
    shaken_sd_x_m = 0.0
    if cameras.shaken:
        shaken_x, _ = _position_sd(cameras, pixel, tag.point_m, normal, SHAKEN_PX**2 * np.eye(2))
        shaken_sd_x_m = float(np.nanmedian(shaken_x))
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
        shaken_sd_x_m=shaken_sd_x_m,
    )
    return head, path


def _on_path(cameras: FrameCameras, pixel: PixelTrack, tag: AddressedTag, path: PathShape) -> FloatArray:
    """Return where the rays meet the upright surface over a path, shape (n, 3) [m]."""
    count = len(pixel.time_s)
    along = np.zeros(count)
    points = np.full((count, 3), np.nan)
    rays = frame_rays(cameras, pixel.centre_px)
    for _ in range(SURFACE_STEPS):
        slope = path.slope(along)
        touch = tag.point_m + np.column_stack([along, path.across(along), np.zeros(count)])
        normal = np.column_stack([-slope, np.ones(count), np.zeros(count)])
        points = on_plane(*rays, touch, normal)
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
            tilt_rad=tag.tilt_rad,
            roll_rad=tag.roll_rad,
            nearness_sd=NEARNESS_SD,
        )
        found[:, group] = tilt, np.sqrt(covariance[:, 1, 1]), nearness, np.sqrt(covariance[:, 2, 2])
    return found[0], found[1], found[2], found[3]


def _position_sd(
    cameras: FrameCameras, pixel: PixelTrack, point: FloatArray, normal: FloatArray, noise_px2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the standard deviations of x and z from the covariance of the pixel, shapes (n,) [m]."""
    step = 0.5
    slopes = np.stack(
        [
            pixels_on_plane(cameras, pixel.centre_px + shift, point, normal)
            - pixels_on_plane(cameras, pixel.centre_px - shift, point, normal)
            for shift in (np.array([step, 0.0]), np.array([0.0, step]))
        ],
        axis=-1,
    ) / (2 * step)
    spread = slopes @ noise_px2 @ np.swapaxes(slopes, 1, 2)
    return np.sqrt(spread[:, 0, 0]), np.sqrt(spread[:, 2, 2])
