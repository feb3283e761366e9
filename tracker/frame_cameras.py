"""The camera of every frame, and where its rays meet a plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.following import Followed, moved_camera


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


def meet(cameras: FrameCameras, pixels: FloatArray, point: FloatArray, normal: FloatArray) -> FloatArray:
    """Return where each frame's pixel ray meets a plane (or its own), shape (n, 3); NaN where not seen."""
    met = np.full((len(pixels), 3), np.nan)
    seen = np.isfinite(pixels[:, 0])
    point, normal = np.broadcast_to(point, met.shape), np.broadcast_to(normal, met.shape)
    met[seen] = cameras.rest.meet_plane(pixels[seen], point[seen], normal[seen])
    for index, camera in cameras.moved.items():
        if index < len(seen) and seen[index]:
            met[index] = camera.meet_plane(pixels[index : index + 1], point[index], normal[index])[0]
    return met
