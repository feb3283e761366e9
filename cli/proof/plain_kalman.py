"""The textbook Kalman smoother: position, velocity, acceleration; white noise on the jerk; nothing at impact.

Its steady state is a quintic smoothing spline with the filter 1 / (1 + (w/w0)^6), w0 = (q / (r T))^(1/6), so
that the ratio of the noises q and r is told by a cutoff.
"""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray

CUTOFFS_HZ = np.geomspace(2.0, 40.0, 16)
"""Candidates of maximum likelihood."""
START_SDS = np.array([1.0, 3.0, 20.0])
"""Standard deviations before the first frame [SI], as good as unknown."""
TYPICAL_SD_M = 1e-4


def smooth_at(time_s: FloatArray, x_m: FloatArray, cutoff_hz: float) -> FloatArray:
    """Return position, velocity and acceleration at even times, shape (3, n) [1]_.

    References
    ----------
    .. [1] H. E. Rauch, F. Tung, C. T. Striebel (1965), AIAA J. 3(8):1445-1450. doi:10.2514/3.3166

    """
    dt = _step(time_s)
    F, Q = _model(dt, np.array([cutoff_hz]))
    count = len(x_m)
    means, covariances = np.empty((count, 3)), np.empty((count, 3, 3))
    predicted, spread = np.empty((count, 3)), np.empty((count, 3, 3))
    m, P = np.array([x_m[0], 0.0, 0.0]), np.diag(START_SDS**2)
    for k in range(count):
        if k:
            m, P = F @ m, F @ P @ F.T + Q[0]
        predicted[k], spread[k] = m, P
        gain = P[:, 0] / (P[0, 0] + TYPICAL_SD_M**2)
        m = m + gain * (x_m[k] - m[0])
        P = P - np.outer(gain, P[0])
        means[k], covariances[k] = m, P
    for k in range(count - 2, -1, -1):
        G = np.linalg.solve(spread[k + 1], F @ covariances[k]).T
        means[k] += G @ (means[k + 1] - predicted[k + 1])
    return np.ascontiguousarray(means.T)


def best_cutoff(time_s: FloatArray, x_m: FloatArray) -> float:
    """Return the cutoff of maximum likelihood, the size of the noise concentrated out [Hz]."""
    dt = _step(time_s)
    cutoffs = CUTOFFS_HZ[0.45 / dt > CUTOFFS_HZ]
    F, Q = _model(dt, cutoffs)
    m = np.zeros((len(cutoffs), 3))
    m[:, 0] = x_m[0]
    P = np.broadcast_to(np.diag(START_SDS**2), (len(cutoffs), 3, 3)).copy()
    squares, logs = np.zeros(len(cutoffs)), np.zeros(len(cutoffs))
    for k, x in enumerate(x_m):
        if k:
            m, P = m @ F.T, F @ P @ F.T + Q
        S = P[:, 0, 0] + TYPICAL_SD_M**2
        innovation = x - m[:, 0]
        gain = P[:, :, 0] / S[:, None]
        m = m + gain * innovation[:, None]
        P = P - gain[:, :, None] * P[:, :1, :]
        if k > 2:  # the first three settle the start
            squares += innovation**2 / S
            logs += np.log(S)
    count = len(x_m) - 3
    return float(cutoffs[int(np.argmin(count * np.log(squares / count) + logs))])


def _model(dt: float, cutoff_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return transition and process covariance for each cutoff, shapes (3, 3) and (b, 3, 3)."""
    F = np.array([[1.0, dt, dt**2 / 2], [0.0, 1.0, dt], [0.0, 0.0, 1.0]])
    unit = np.array(
        [[dt**5 / 20, dt**4 / 8, dt**3 / 6], [dt**4 / 8, dt**3 / 3, dt**2 / 2], [dt**3 / 6, dt**2 / 2, dt]]
    )
    q = (2 * np.pi * cutoff_hz) ** 6 * TYPICAL_SD_M**2 * dt
    return F, q[:, None, None] * unit


def _step(time_s: FloatArray) -> float:
    return float((time_s[-1] - time_s[0]) / (len(time_s) - 1))
