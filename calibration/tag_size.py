"""Which of the printed sizes the head tag has, where nobody said."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.attitude import projection_gradient
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import HEAD_TAG_SIDES_M
from pennyfall.kinematics.values import FloatArray


def nearest_printed_side(
    camera: Camera, centre_px: FloatArray, jacobian: FloatArray, *, assumed_side_m: float, height_m: float
) -> float:
    """Return the printed size that fits how large the tag looks.

    The sizes are a fifth apart or more; a level tag at about its height looks right to a few per cent.

    Parameters
    ----------
    camera : Camera
        The posed camera, world z up from the floor.
    centre_px, jacobian : FloatArray
        The tag's centre [px], shape (2,), and pixels per metre of its plane under the assumed size, (2, 2).
    assumed_side_m : float
        Size under which it was followed [m].
    height_m : float
        Height above the floor [m].

    """
    level = np.array([0.0, 0.0, height_m])
    point = camera.meet_plane(centre_px[None, :], level, np.array([0.0, 0.0, 1.0]))
    expected = projection_gradient(camera, point)[0][:, :2]
    ratio = float(np.sqrt(abs(np.linalg.det(jacobian) / np.linalg.det(expected))))
    return min(HEAD_TAG_SIDES_M, key=lambda side: abs(np.log(side / (assumed_side_m * ratio))))
