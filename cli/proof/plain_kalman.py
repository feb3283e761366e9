"""The textbook Kalman smoother: position, velocity, acceleration; white noise on the jerk; nothing at impact.

Its steady state is a quintic smoothing spline with the filter 1 / (1 + (w/w0)^6), w0 = (q / (r T))^(1/6), so
that a cutoff gives the ratio of the noises q and r.
"""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.smoother.kalman import innovations, smooth_states  # noqa: TID251 (the passes alone)

CUTOFFS_HZ = np.geomspace(2.0, 40.0, 16)
"""Candidates of maximum likelihood."""
START_SDS = np.array([1.0, 3.0, 20.0])
"""Standard deviations before the first frame [SI], as good as unknown."""
TYPICAL_SD_M = 1e-4
POSITION_ONLY = (0,)
"""A frame shows the position."""


def smooth_at(time_s: FloatArray, x_m: FloatArray, cutoff_hz: float) -> FloatArray:
    """Return position, velocity and acceleration at even times, shape (3, n)."""
    F, Q, variance = _model(time_s, np.array([cutoff_hz]))
    return smooth_states(x_m, variance, F, Q[..., 0], *_start(x_m), POSITION_ONLY).mean.T.copy()


def best_cutoff(time_s: FloatArray, x_m: FloatArray) -> float:
    """Return the cutoff of maximum likelihood, the size of the noise concentrated out [Hz]."""
    cutoffs = CUTOFFS_HZ[0.45 / _step(time_s) > CUTOFFS_HZ]
    F, Q, variance = _model(time_s, cutoffs)
    squares, logs = np.zeros(len(cutoffs)), np.zeros(len(cutoffs))
    for frame, innovation, S in innovations(x_m, variance, F, Q, *_start(x_m), POSITION_ONLY):
        if frame > 2:  # the first three settle the start
            squares += innovation**2 / S
            logs += np.log(S)
    count = len(x_m) - 3
    return float(cutoffs[int(np.argmin(count * np.log(squares / count) + logs))])


def _start(x_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the state at the first frame, before it is seen."""
    return np.array([x_m[0], 0.0, 0.0]), np.diag(START_SDS**2)


def _model(time_s: FloatArray, cutoff_hz: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return transition and process covariance into each frame, and each measurement's variance [m^2].

    Of shapes (n, 3, 3), (n, 3, 3, b) and (n,), for b cutoffs; the first step takes no time.
    """
    dt = _step(time_s)
    F = np.tile([[1.0, dt, dt**2 / 2], [0.0, 1.0, dt], [0.0, 0.0, 1.0]], (len(time_s), 1, 1))
    unit = np.array(
        [[dt**5 / 20, dt**4 / 8, dt**3 / 6], [dt**4 / 8, dt**3 / 3, dt**2 / 2], [dt**3 / 6, dt**2 / 2, dt]]
    )
    q = (2 * np.pi * cutoff_hz) ** 6 * TYPICAL_SD_M**2 * dt
    Q = np.tile(unit[:, :, None] * q, (len(time_s), 1, 1, 1))
    F[0], Q[0] = np.eye(3), 0.0
    return F, Q, np.full(len(time_s), TYPICAL_SD_M**2)


def _step(time_s: FloatArray) -> float:
    return float((time_s[-1] - time_s[0]) / (len(time_s) - 1))
