"""How an error of the calibration bends the target line's scale: source by source, not as one percentage.

An unknown lens, height or curve of the path shifts a place by an amount that grows along the line in its own
way. A whole backswing feels all of it; the speed at impact feels the slope of the shift where the ball lies,
which is known several times better, because the sheet lies there and the path touches the line there. On
simulated strokes at 240 frames/s the whole backswing erred by 0.25 %, the speed at impact by 0.18 %, the
ball's by 0.16 %, all of which one percentage stated to 0.34 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.stroke.smoothed import ACCELERATION, JERK, POSITION, VELOCITY
from pennyfall.kinematics.values import FloatArray, freeze_arrays

POWERS = 3
"""A shift is a cubic in the distance from address: what a height, a curve of the path and k1 make of it."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ScaleErrors:
    """How places along the line shift when each of k independent sources is one standard deviation off."""

    head: FloatArray
    """Shift of the head at a distance s from address, s, s^2 and s^3 times these, shape (k, 3) [m^(1-n)]."""
    ball: FloatArray
    """Relative error of the ball's speed by the same sources, shape (k,)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @classmethod
    def uniform(cls, rel_sd: float) -> ScaleErrors:
        """Return a scale that is off by the same share everywhere."""
        return cls(head=np.array([[rel_sd, 0.0, 0.0]]), ball=np.array([rel_sd]))

    def with_uniform(self, rel_sd: float) -> ScaleErrors:
        """Return these errors and one more source that multiplies every length."""
        more = self.uniform(rel_sd)
        return ScaleErrors(
            head=np.concatenate([self.head, more.head]), ball=np.concatenate([self.ball, more.ball])
        )

    def relative_sd(self, first_m: float, last_m: float) -> float:
        """Return the relative standard deviation of the length between two distances from address.

        A length of nothing, as of a stroke cut off at its top, has that of a short one at the same place.
        """
        powers = np.arange(1, POWERS + 1)
        if last_m == first_m:
            return float(np.linalg.norm(self.head @ (powers * first_m ** (powers - 1))))
        ends = last_m**powers - first_m**powers
        return float(np.linalg.norm(self.head @ ends) / abs(last_m - first_m))

    def bent(self, states: FloatArray, address_m: float) -> FloatArray:
        """Return a path as it would be read with each source one standard deviation off.

        Parameters
        ----------
        states : ndarray, shape (n, 4)
            Position, velocity, acceleration and jerk [SI].
        address_m : float
            Position at address [m].

        Returns
        -------
        ndarray, shape (k, n, 4)
            By the chain rule, to first order in the shift.

        """
        x, v, a, j = states[:, [POSITION, VELOCITY, ACCELERATION, JERK]].T
        s = x - address_m
        none, one = np.zeros_like(s), np.ones_like(s)
        shift = self.head @ np.stack([s, s**2, s**3])
        slope = self.head @ np.stack([one, 2 * s, 3 * s**2])
        bend = self.head @ np.stack([none, 2 * one, 6 * s])
        twist = self.head @ np.stack([none, none, 6 * one])
        change = [shift, slope * v, slope * a + bend * v**2, slope * j + 3 * bend * v * a + twist * v**3]
        return np.asarray(states + np.stack(change, axis=-1))
