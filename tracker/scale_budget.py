"""How surely lengths along the target line are known, source by source."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.pose import Pose
from pennyfall.calibration.tag_height import AddressedTag
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.frame_cameras import FrameCameras, meet
from pennyfall.tracker.head_path import SURFACE_STEPS
from pennyfall.tracker.path_shape import PathShape
from pennyfall.tracker.pixel_track import PixelTrack


def scale_sd(
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
    place = meet(FrameCameras(camera, {}), pixel.centre_px, tag.point_m, np.array([0.0, 1.0, 0.0]))[:, 0]
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


def plane_sd(camera: Camera, tag: AddressedTag) -> float:
    """Return how far the plane moves across the line when the tag stands a standard deviation higher [m]."""
    ray = tag.point_m - camera.centre
    return float(abs(ray[1] / ray[2]) * tag.height_m.sd)
