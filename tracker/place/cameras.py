"""The camera of every frame, and where its rays meet a plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.calibration.camera import Camera, on_level, on_plane
from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.follow.clip_pass import Followed, moved_camera

SHAKEN_STEP_PX = 0.05
"""Chosen by us: after a knock the camera stands still again, and the sheet's tags scatter by less than this
from frame to frame (0.02 to 0.06 px a tag centre on the shipped clips)."""


@dataclass(frozen=True, slots=True, eq=False)
class FrameCameras:
    """The camera of every frame: one at rest, another where it had moved."""

    rest: Camera
    moved: dict[int, Camera]
    shaken: bool = False
    """Whether the camera kept moving, as in a hand, and did not merely stand elsewhere after a knock."""

    def at(self, index: int) -> Camera:
        """Return the camera of one frame."""
        return self.moved.get(index, self.rest)


def frame_cameras(followed: Followed, pose: Pose) -> FrameCameras:
    """Return the camera of every frame of a followed clip."""
    moved = {index: moved_camera(pose.camera, sight) for index, sight in followed.moved.items()}
    return FrameCameras(pose.camera, moved, shaken=_shaken(followed))


def _shaken(followed: Followed) -> bool:
    steps = [
        float(np.abs(sight.pixels - followed.moved[index - 1].pixels).mean())
        for index, sight in followed.moved.items()
        if index - 1 in followed.moved and len(sight.pixels) == len(followed.moved[index - 1].pixels)
    ]
    return len(steps) > 0 and float(np.median(steps)) > SHAKEN_STEP_PX


def pixels_on_plane(
    cameras: FrameCameras, pixels: FloatArray, point: FloatArray, normal: FloatArray
) -> FloatArray:
    """Return where each frame's pixel ray meets a plane (or its own), shape (n, 3); NaN where not seen."""
    return on_plane(*frame_rays(cameras, pixels), point, normal)


def pixels_on_level(cameras: FrameCameras, pixels: FloatArray, height_m: float) -> FloatArray:
    """Return where each frame's pixel ray comes down to a height above the floor, shape (n, 3) [m]."""
    return on_level(*frame_rays(cameras, pixels), height_m)


def frame_rays(cameras: FrameCameras, pixels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return origin and direction of each frame's pixel ray, shapes (n, 3); NaN where not seen."""
    seen = np.isfinite(pixels[:, 0])
    origins = np.tile(cameras.rest.centre, (len(pixels), 1))
    directions = np.full((len(pixels), 3), np.nan)
    directions[seen] = cameras.rest.rays(pixels[seen])
    for index, camera in cameras.moved.items():
        if index < len(seen) and seen[index]:
            origins[index] = camera.centre
            directions[index] = camera.rays(pixels[index : index + 1])[0]
    return origins, directions
