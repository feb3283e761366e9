"""How far inside a ball's own edge its outline is read: by as much as its shading falls off to the limb."""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.ball.edges import OutlineFit, still_flank, upper_median
from pennyfall.tracker.clip.frame import LumaFrame

_FALL_TO_SHIFT_PX, _FLAT_PX = -2.7, 0.04
"""Shift of the outline over the relative fall of luma per pixel and half-width of the edge filter: where the
inner flank of a blurred edge slopes, the filter's peak moves in by both. Fitted over thirteen clips of four
renderers with known truth, balls of 18 to 28 px read -0.56 to 0.0 px off, bright flat ones least."""
_SD_PX, _CLEAR_CONTRAST = 0.09, 60.0
"""What that leaves of them, at this height of the luma steps; it grows with the square of a lower contrast,
where floor and limb are hardly told apart."""
_MOST_SD_PX = 0.4
_NEAR_PX, _DEEP_PX = 3.0, 5.0
"""Where luma is compared inside the outline: clear of what blurs the edge."""
_LEAST_STEP = 5.0


def reading_off(luma: LumaFrame, fit: OutlineFit) -> Estimate:
    """Return by how much the radius of an outline of steepest luma is read off the ball's own [px].

    Parameters
    ----------
    luma : LumaFrame
        The picture.
    fit : OutlineFit
        The ball's outline in it.

    """
    outline = fit.outline
    deep, near, out = (
        _luma_at(luma, outline.points_px + off * outline.normals) for off in (-_DEEP_PX, -_NEAR_PX, _NEAR_PX)
    )
    fall = upper_median((deep - near) / np.maximum(near - out, _LEAST_STEP)) / (_DEEP_PX - _NEAR_PX)
    sd = min(_SD_PX * max(_CLEAR_CONTRAST / max(fit.contrast, 1.0), 1.0) ** 2, _MOST_SD_PX)
    return Estimate(_FALL_TO_SHIFT_PX * still_flank(outline) * max(fall, 0.0) + _FLAT_PX, sd)


def _luma_at(luma: LumaFrame, points_px: FloatArray) -> FloatArray:
    at = points_px.astype(np.float32)
    seen = cv2.remap(
        luma, at[:, 0], at[:, 1], interpolation=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(seen, dtype=np.float64).ravel()
