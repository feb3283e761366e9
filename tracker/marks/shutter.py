"""The exposure time, told by how far a moving pattern is smeared."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import USUAL_EXPOSURE_SHARE, LumaFrame
from pennyfall.tracker.marks.pattern import Pattern
from pennyfall.tracker.marks.registration import Registration, misfit

SHUTTER_SHARES = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.65, 0.8, 1.0)
"""Chosen by us: candidate exposure times as shares of the frame interval."""

SHUTTER_FRAMES = 12
"""Chosen by us: this many smeared frames settle the exposure time."""

SHUTTER_LEAST_PX = 6.0
"""Chosen by us: a tag must move this far between frames for its smear to tell the exposure time."""


class ShutterGauge:
    """Lets frames in fast motion vote for the exposure time that explains their smear best."""

    def __init__(self) -> None:
        self._costs: list[FloatArray] = []
        self.share = USUAL_EXPOSURE_SHARE
        """Exposure time as a share of the frame interval, as well as it is known."""

    @property
    def known_share(self) -> float:
        """The share once enough frames have voted; NaN before."""
        return self.share if len(self._costs) >= SHUTTER_FRAMES else float("nan")

    def take(
        self, luma: LumaFrame, found: Registration, pattern: Pattern, blur_px: float, moved_px: FloatArray
    ) -> None:
        """Take a frame's vote.

        Parameters
        ----------
        luma : LumaFrame
            The picture.
        found : Registration
            Where the pattern is in it.
        pattern : Pattern
            What is seen there.
        blur_px : float
            Blur of a resting picture [px].
        moved_px : FloatArray
            How far the pattern moves in a frame interval, shape (2,) [px].

        """
        if len(self._costs) >= SHUTTER_FRAMES or np.hypot(*moved_px) < SHUTTER_LEAST_PX:
            return
        textures = [pattern.rendered(found.jacobian, blur_px, share * moved_px) for share in SHUTTER_SHARES]
        costs = np.array([misfit(luma, found.homography, one, within=textures[-1]) for one in textures])
        if np.all(np.isfinite(costs)) and costs.min() > 0:
            self._costs.append(np.log(costs))
            self.share = SHUTTER_SHARES[int(np.argmin(np.sum(self._costs, axis=0)))]
