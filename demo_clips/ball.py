"""The ball's motion after impact: it slides, then rolls, in closed form."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import FloatArray

BALL_MASS_KG = 0.04593  # largest allowed: 1.620 oz avoirdupois, Rules of Golf 2016, Appendix III
BALL_RADIUS_M = 0.021335  # half of the smallest allowed diameter, 1.680 in = 42.67 mm, same place
GRAVITY_MPS2 = 9.81


@dataclass(frozen=True, kw_only=True, slots=True)
class PlayedBall:
    """One ball: put down, perhaps struck along the target line, perhaps taken away for the next one."""

    placed_s: float
    """When it lies at the origin [s]."""
    struck_s: float = math.inf
    """When it is struck; infinite if never [s]."""
    gone_s: float = math.inf
    """When it is taken away [s]."""
    launch_mps: float = 0.0
    """Speed just after impact [m/s]."""
    friction: float = 0.4
    """Sliding friction [-]."""
    rolling_mps2: float = 0.6
    """Deceleration of the roll [m/s^2]."""

    @property
    def slide_s(self) -> float:
        """How long it slides: 2 v0 / (7 mu g), when its speed has fallen to 5/7 v0 [s]."""
        return 2 * self.launch_mps / (7 * self.friction * GRAVITY_MPS2)

    @property
    def rolling_mps(self) -> float:
        """Speed when it begins to roll, 5/7 of the launch speed [m/s]."""
        return 5 / 7 * self.launch_mps

    def position(self, t_s: FloatArray) -> FloatArray:
        """Return the distance travelled, any shape [s] -> [m]."""
        since, slide, roll = self._phases(t_s)
        slid = self.launch_mps * slide - self.friction * GRAVITY_MPS2 * slide**2 / 2
        return np.asarray(slid + self.rolling_mps * roll - self.rolling_mps2 * roll**2 / 2 + 0 * since)

    def speed(self, t_s: FloatArray) -> FloatArray:
        """Return the speed, any shape [s] -> [m/s]."""
        since, slide, roll = self._phases(t_s)
        moving = self.launch_mps - self.friction * GRAVITY_MPS2 * slide - self.rolling_mps2 * roll
        return np.where(since >= 0, moving, 0.0)

    def turn(self, t_s: FloatArray) -> FloatArray:
        """Return the angle turned through, any shape [s] -> [rad]; it is struck without spin."""
        _, slide, roll = self._phases(t_s)
        spin_up = 5 * self.friction * GRAVITY_MPS2 / (2 * BALL_RADIUS_M)  # torque mu m g r over 2/5 m r^2
        rolled = self.rolling_mps * roll - self.rolling_mps2 * roll**2 / 2
        return np.asarray(spin_up * slide**2 / 2 + rolled / BALL_RADIUS_M)

    def _phases(self, t_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        since = np.asarray(t_s, dtype=np.float64) - (self.struck_s if math.isfinite(self.struck_s) else 1e9)
        slide = np.clip(since, 0.0, self.slide_s)
        roll = np.clip(since - self.slide_s, 0.0, self.rolling_mps / self.rolling_mps2)
        return since, slide, roll


def launch(
    placed_s: Sequence[float], hits: Sequence[tuple[float, float]], friction: float, rolling_mps2: float
) -> tuple[PlayedBall, ...]:
    """Return the balls: each put down once, struck by the next hit, gone when the next one is put down.

    Parameters
    ----------
    placed_s : sequence of float
        When a ball is put down [s].
    hits : sequence of (float, float)
        Impact [s] and launch speed [m/s].
    friction, rolling_mps2 : float
        See `PlayedBall`.

    """
    balls: list[PlayedBall] = []
    for start, end in zip(placed_s, [*placed_s[1:], math.inf], strict=True):
        struck = [hit for hit in hits if start <= hit[0] < end]
        if len(struck) > 1:
            raise ValueError("a ball can be struck once: put down a new one")
        impact_s, speed = struck[0] if struck else (math.inf, 0.0)
        balls.append(
            PlayedBall(
                placed_s=start,
                struck_s=impact_s,
                gone_s=end,
                launch_mps=speed,
                friction=friction,
                rolling_mps2=rolling_mps2,
            )
        )
    return tuple(balls)
