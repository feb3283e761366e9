"""When the head left rest: the softest of the events, with an honest interval.

A backswing starts smoothly, so the head has moved by less than the measurement error long after it left rest. The
early motion is a polynomial in the time since the onset whose lowest power nobody knows: constant acceleration
(power 2), a jump in jerk (power 3), or smoother still (power 4). Each has a Gaussian prior for its coefficients; the
likelihood of every onset instant under each follows in closed form, and the onset's distribution is their average.
"""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import Estimate, FloatArray

POWERS = np.array([2, 3, 4, 5])
COEFFICIENT_SDS = np.array([2.0 / 2, 40.0 / 6, 500.0 / 24, 3000.0 / 120])
"""Prior sd of the coefficient of each power [m/s^p], chosen by us from a 25 cm backswing in 0.8 s: a constant start
reaches 2 m/s^2; minimum jerk starts with 29 m/s^3, then -220 m/s^4 and 550 m/s^5."""
LOWEST_POWERS = (2, 3, 4)
"""The three kinds of start, equally likely beforehand."""
GRID_STEP_S = 0.002
REACH_S = (-0.16, 0.06)
"""Chosen by us: how far around the first visible motion the onset is sought."""
DEADBAND_SDS = 0.25
"""Chosen by us: a codec repeats a block while the change is below about a quarter of the tag's scatter."""
FREE_LEVEL_SD_M = 5e-3
"""The address position is unknown beforehand to this, which is as good as free."""
SAME_M = 1e-9


def takeaway_instant(
    time_s: FloatArray, x_m: FloatArray, sd_m: FloatArray, lag_one: float, visible_s: float
) -> Estimate:
    """Return the instant at which the head left rest.

    Parameters
    ----------
    time_s, x_m, sd_m : ndarray, shape (n,)
        Seen frames from the rest at address until the head has moved by one or two centimetres: time [s], position
        [m], standard deviation of the error in motion [m].
    lag_one : float
        Correlation of the errors of neighbouring frames in motion.
    visible_s : float
        Instant at which the motion is plain [s].

    """
    noise = _error_covariance(x_m, sd_m, lag_one) + FREE_LEVEL_SD_M**2
    first = max(time_s[0], visible_s + REACH_S[0])
    candidates = np.arange(first, visible_s + REACH_S[1], GRID_STEP_S)
    since = np.maximum(time_s[None, :] - candidates[:, None], 0.0)
    y = x_m - np.mean(x_m[: max(len(x_m) // 4, 1)])
    whitening = np.linalg.inv(np.linalg.cholesky(noise))
    y_white = whitening @ y
    powers = since[:, :, None] ** POWERS * COEFFICIENT_SDS
    design = whitening @ powers
    log_all = np.stack([_log_evidence(design[:, :, POWERS >= lowest], y_white) for lowest in LOWEST_POWERS])
    posterior = np.exp(log_all - log_all.max()).sum(axis=0)
    posterior /= posterior.sum()
    mean = float(posterior @ candidates)
    return Estimate(mean, float(np.sqrt(posterior @ (candidates - mean) ** 2 + GRID_STEP_S**2 / 12)))


def _error_covariance(x_m: FloatArray, sd_m: FloatArray, lag_one: float) -> FloatArray:
    """Return the covariance of the position errors, shape (n, n) [m^2].

    Identical frames are the same picture with the same error; what the codec hid meanwhile is the deadband.
    """
    run = np.cumsum(np.concatenate([[False], ~(np.abs(np.diff(x_m)) < SAME_M)]))
    correlation = max(lag_one, 1e-3) ** np.abs(run[:, None] - run[None, :])
    covariance: FloatArray = correlation * sd_m[:, None] * sd_m[None, :]
    repeated = np.bincount(run)[run] > 1
    covariance[np.diag_indices(len(run))] += np.where(repeated, DEADBAND_SDS, 1e-3) ** 2 * sd_m**2
    return covariance


def _log_evidence(design: FloatArray, y: FloatArray) -> FloatArray:
    """Return the log evidence of y = design @ c + white noise, c standard normal, for each of b designs, shape (b,)."""
    gram = design.swapaxes(1, 2) @ design + np.eye(design.shape[2])
    projected = design.swapaxes(1, 2) @ y
    explained = np.einsum("bi,bi->b", projected, np.linalg.solve(gram, projected[:, :, None])[:, :, 0])
    evidence: FloatArray = 0.5 * explained - 0.5 * np.linalg.slogdet(gram)[1]
    return evidence
