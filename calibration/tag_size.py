"""Which of the printed sizes the head tag has, where nobody said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.calibration.attitude import projection_gradient
from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class TagSizes:
    """What is known of the head tag's side."""

    assumed_m: float
    """Side under which it is followed [m]."""
    printed_m: tuple[float, ...]
    """Sides in which it is printed [m]."""


def nearest_printed_side(
    camera: Camera,
    centre_px: FloatArray,
    jacobian: FloatArray,
    sizes: TagSizes,
    *,
    height_m: float,
) -> float:
    """Return the printed size that fits how large the tag looks.

    The sizes are a fifth apart or more; a level tag at about its height looks right to a few per cent.

    Parameters
    ----------
    camera : Camera
        The posed camera, world z up from the floor.
    centre_px, jacobian : FloatArray
        The tag's centre [px], shape (2,), and pixels per metre of its plane under the assumed size, (2, 2).
    sizes : TagSizes
        The size under which it was followed, and those it may have.
    height_m : float
        Height above the floor [m].

    """
    point = camera.meet_level(centre_px[None, :], height_m)
    expected = projection_gradient(camera, point)[0][:, :2]
    ratio = float(np.sqrt(abs(np.linalg.det(jacobian) / np.linalg.det(expected))))
    return min(sizes.printed_m, key=lambda side: abs(np.log(side / (sizes.assumed_m * ratio))))
