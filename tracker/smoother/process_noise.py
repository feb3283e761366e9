"""The innovations of a chain, and its likelihood under many process noises at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.smoother.motion_model import ERROR, MotionChain, chain_matrices

LOG_DIFFUSION_PRIOR = (np.log(1e4), 2.5)
"""Mean and sd of the log process noise [m^2/s^7], chosen by us: the jerk of a stroke changes by about 30
m/s^3 within a tenth of a second; the sd spans a factor of 150 up and down, so that only a nearly silent
likelihood feels it."""
DIFFUSION_GRID = 10.0 ** np.arange(2.0, 6.01, 0.5)
"""Process noises that compete by likelihood [m^2/s^7]."""


def log_diffusion_prior(diffusion: FloatArray) -> FloatArray:
    """Return the log density of process noises beforehand, but for a constant."""
    mean, sd = LOG_DIFFUSION_PRIOR
    prior: FloatArray = -0.5 * ((np.log(diffusion) - mean) / sd) ** 2
    return prior


def log_mean(values: FloatArray, log_weight: FloatArray) -> float:
    """Return the mean of the logarithm under weights, as a value."""
    weight = np.exp(log_weight - log_weight.max())
    return float(np.exp(weight @ np.log(values) / weight.sum()))


def log_likelihoods(
    position_m: FloatArray,
    variance_m2: FloatArray,
    F: FloatArray,
    Q: Iterable[FloatArray],
    start_mean: FloatArray,
    start_covariance: FloatArray,
) -> FloatArray:
    """Return the log likelihood of the measurements under each of b models, from their innovations [1]_.

    Parameters
    ----------
    position_m : ndarray, shape (n,) [m]
        Measured positions, NaN where there is none.
    variance_m2 : ndarray, shape (n,) [m^2]
        Variance of what is independent in each measurement.
    F : ndarray, shape (n, 5, 5)
        Transition into each node.
    Q : iterable of ndarray, shape (5, 5, b)
        Process covariance under each model, of the step into each node; (5, 5, 1) as long as all agree.
    start_mean, start_covariance : ndarray, shapes (5,) and (5, 5)
        State before the first node.

    References
    ----------
    .. [1] F. C. Schweppe (1965), Evaluation of likelihood functions for Gaussian signals, IEEE Trans. Inf.
       Theory 11:61-70. doi:10.1109/TIT.1965.1053737

    """
    total = np.zeros(1)
    for _, innovation, S in innovations(position_m, variance_m2, F, Q, start_mean, start_covariance):
        total = total - 0.5 * (innovation**2 / S + np.log(2 * np.pi * S))
    return total


NoiseParts = tuple[FloatArray, FloatArray, FloatArray]


def noise_parts(chain: MotionChain) -> NoiseParts:
    """Return the transitions, the process covariances but for the noise on jerk, and those of unit noise.

    Each of shape (n, 5, 5); the last is zero where the chain has no noise on jerk.
    """
    F, base = chain_matrices(replace(chain, diffusion=np.zeros(len(chain.time_s))))
    unit = chain_matrices(replace(chain, diffusion=(chain.diffusion > 0).astype(np.float64)))[1] - base
    return F, base, unit


def chain_log_likelihoods(
    chain: MotionChain, nodes: int, F: FloatArray, Q: Iterable[FloatArray]
) -> FloatArray:
    """Return the log likelihood of a chain's first nodes; `F` and `Q` as of `log_likelihoods`."""
    return log_likelihoods(
        chain.position_m[:nodes],
        chain.variance_m2[:nodes],
        F[:nodes],
        Q,
        chain.start_mean,
        chain.start_covariance,
    )


def innovations(
    position_m: FloatArray,
    variance_m2: FloatArray,
    F: FloatArray,
    Q: Iterable[FloatArray],
    start_mean: FloatArray,
    start_covariance: FloatArray,
) -> Iterator[tuple[int, FloatArray, FloatArray]]:
    """Yield node, innovation [m] and its variance [m^2] under each of b models, shape (b,), by measurement.

    Parameters as of `log_likelihoods`.
    """
    state, P = start_mean[:, None], start_covariance[:, :, None]  # the same for all models
    for node, step_Q in enumerate(Q):
        P = F[node] @ (F[node] @ P).swapaxes(0, 1) + step_Q  # F P F' + Q, P being symmetric
        state = F[node] @ state
        if np.isnan(position_m[node]):
            continue
        PHt = P[0] + P[ERROR]
        S = PHt[0] + PHt[ERROR] + variance_m2[node]
        innovation = position_m[node] - state[0] - state[ERROR]
        yield node, innovation, S
        K = PHt / S
        state = state + K * innovation
        P -= K[:, None] * PHt
