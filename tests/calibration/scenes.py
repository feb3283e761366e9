"""Cameras over a sheet, for the calibration's tests."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import STANDARD_SHEET
from pennyfall.kinematics.values import FloatArray


def camera_over_floor(
    *,
    place: tuple[float, float, float] = (0.05, -0.7, 0.8),
    look: tuple[float, float, float] = (0.0, 0.1, 0.0),
    focal_px: float = 1060.0,
    size: tuple[int, int] = (1280, 720),
    k1: float = 0.0,
) -> Camera:
    """Return a camera at a place, looking at a point, its picture upright."""
    centre = np.array(place)
    forward = np.array(look) - centre
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.vstack([right, np.cross(forward, right), forward])
    return Camera(
        matrix=np.array([[focal_px, 0, (size[0] - 1) / 2], [0, focal_px, (size[1] - 1) / 2], [0, 0, 1]]),
        distortion=np.array([k1, 0, 0, 0, 0]),
        rotation=rotation,
        translation=-rotation @ centre,
    )


def sheet_points() -> FloatArray:
    """Return the sheet's tag centres and corners on the floor, shape (20, 3) [m]."""
    tags = [STANDARD_SHEET.corners[i] for i in STANDARD_SHEET.ids]
    return np.concatenate([np.vstack([corners.mean(axis=0)[None, :], corners]) for corners in tags])
