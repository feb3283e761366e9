"""The perspective of a tag that lies level on a head."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.marks.registration import plane_jacobian

TYPICAL_TAG_HEIGHT_M = 0.027
"""Height of a head's flat top above the floor (common practice, no source); only its perspective needs it."""


def in_level_perspective(homography: FloatArray, camera: Camera | None) -> FloatArray:
    """Return the homography with the perspective of a level tag, or none where the camera is unknown.

    Four corners of a small tag place it and stretch it well, but their perspective part is mostly noise and
    would shift the centre by a fifth of a pixel.
    """
    centre, jacobian = plane_jacobian(homography)
    if camera is None:
        return np.vstack([np.column_stack([jacobian, centre]), [0.0, 0.0, 1.0]])
    floor = _level_plane(camera, TYPICAL_TAG_HEIGHT_M)
    place = np.linalg.solve(floor, np.array([*centre, 1.0]))
    middle = np.eye(3)
    middle[:2, 2] = place[:2] / place[2]
    _, floor_jacobian = plane_jacobian(floor @ middle)
    middle[:2, :2] = np.linalg.solve(floor_jacobian, jacobian)
    return np.asarray(floor @ middle, dtype=np.float64)


def _level_plane(camera: Camera, height_m: float) -> FloatArray:
    """Return the homography from a level plane (world x, y) [m] to pixels; distortion is left out."""
    columns = np.column_stack(
        [
            camera.rotation[:, 0],
            camera.rotation[:, 1],
            camera.rotation[:, 2] * height_m + camera.translation,
        ]
    )
    return np.asarray(camera.matrix @ columns, dtype=np.float64)
