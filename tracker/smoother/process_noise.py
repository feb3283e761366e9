"""What process noises compete, what speaks for each beforehand, and the likelihood of a chain under them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.smoother.motion_model import MotionChain, chain_matrices

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


NoiseParts = tuple[FloatArray, FloatArray, FloatArray]


def noise_parts(chain: MotionChain) -> NoiseParts:
    """Return the transitions, the process covariances but for the noise on jerk, and those of unit noise.

    Each of shape (n, 5, 5); the last is zero where the chain has no noise on jerk.
    """
    F, base = chain_matrices(replace(chain, diffusion=np.zeros(len(chain.time_s))))
    unit = chain_matrices(replace(chain, diffusion=(chain.diffusion > 0).astype(np.float64)))[1] - base
    return F, base, unit
