"""A very cheap look at whether a resting ball still lies as it lay."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pennyfall.tracker.ball.outline import Outline
from pennyfall.tracker.clip.frame import LumaFrame

_RINGS = (0.82, 1.18)
"""Where luma is compared, as shares of the radius: just inside and just outside the outline, where a ball
that moves by a fifth of its radius shows most."""
_LEAST_CHANGE = 10.0
"""Luma difference that counts as a change: chosen by us, twice the ripple codecs leave on a still picture."""
_NOISE_SDS = 4.0
_DISTURBED_SHARE = 0.08
"""Share of changed points that calls for a proper look: chosen by us, a ball moved by 0.1 radius changes
more."""


class RestGuard:
    """Compares the luma on two rings about the outline with what it was.

    Parameters
    ----------
    luma : LumaFrame
        A frame with the ball at rest.
    outline : Outline
        Its outline there.

    """

    def __init__(self, luma: LumaFrame, outline: Outline) -> None:
        self._v, self._u = _ring_pixels(luma, outline)
        self._reference = self._levels(luma)
        self._noise = 0.0

    def disturbed(self, luma: LumaFrame) -> bool:
        """Whether the rings look different; a common change of brightness does not count."""
        levels = self._levels(luma)
        gain = float(levels @ self._reference) / max(float(self._reference @ self._reference), 1.0)
        change = np.abs(levels - gain * self._reference)
        limit = max(_LEAST_CHANGE, _NOISE_SDS * self._noise)
        return bool(np.count_nonzero(change > limit) > _DISTURBED_SHARE * len(change))

    def shift(self, luma: LumaFrame, outline: Outline) -> None:
        """Look at the outline's new place: the camera moved, the ball did not."""
        self._v, self._u = _ring_pixels(luma, outline)

    def renew(self, luma: LumaFrame) -> None:
        """Take a frame in which the ball was found in its place as the new comparison."""
        levels = self._levels(luma)
        scatter = 1.4826 * float(np.median(np.abs(levels - self._reference)))
        self._noise = max(0.7 * self._noise, min(scatter, 3.0 * _LEAST_CHANGE))
        self._reference = levels

    def _levels(self, luma: LumaFrame) -> NDArray[np.float32]:
        return luma[self._v, self._u].astype(np.float32)


def _ring_pixels(luma: LumaFrame, outline: Outline) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    spokes = outline.points_px - outline.centre_px
    at = np.rint(np.vstack([outline.centre_px + share * spokes for share in _RINGS])).astype(np.intp)
    height, width = luma.shape
    return np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)
