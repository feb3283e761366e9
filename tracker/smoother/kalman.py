"""Kalman filter and Rauch-Tung-Striebel smoother over a chain of nodes, with joint samples of the whole path.

A filter that runs across an impact spreads the velocity step over its own width. Here the chain carries a
kick at the impact instant: velocity, acceleration and jerk start anew there, position is joined exactly. A
pass over such a chain is the pass on either side of the impact, coupled by the position alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from filterpy.kalman import KalmanFilter

from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.smoother.motion_model import (
    MOTION_STATES,
    OBSERVED,
    STATES,
    MotionChain,
    chain_matrices,
)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SmoothedChain:
    """The posterior of every node, and what is needed to sample whole paths from it."""

    mean: FloatArray
    """Smoothed states, shape (n, 5)."""
    covariance: FloatArray
    """Their covariances, shape (n, 5, 5)."""
    filtered_mean: FloatArray
    """States by the frames up to each node, shape (n, 5)."""
    filtered_covariance: FloatArray
    """Their covariances, shape (n, 5, 5)."""
    predicted_covariance: FloatArray
    """Covariances of the one-step predictions, shape (n, 5, 5)."""
    gain: FloatArray
    """Smoother gain from node k + 1 back to node k, shape (n, 5, 5)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def smooth(chain: MotionChain) -> SmoothedChain:
    """Filter forward and smooth backward [1]_.

    References
    ----------
    .. [1] H. E. Rauch, F. Tung, C. T. Striebel (1965), Maximum likelihood estimates of linear dynamic
       systems, AIAA J. 3(8):1445-1450. doi:10.2514/3.3166

    """
    F, Q = chain_matrices(chain)
    kalman = KalmanFilter(dim_x=STATES, dim_z=1)
    kalman.x = chain.start_mean.copy()
    kalman.P = chain.start_covariance.copy()
    kalman.H = OBSERVED
    kalman.inv = np.reciprocal  # the innovation's variance is a single number
    measured = [None if np.isnan(x) else x for x in chain.position_m]
    filtered_mean, filtered_covariance, predicted_mean, predicted_covariance = kalman.batch_filter(
        measured, Fs=F, Qs=Q, Rs=chain.variance_m2[:, None, None]
    )
    gain = np.zeros_like(Q)
    # All inverses at once: filterpy's own backward pass gives the same digits in twice the time.
    gain[:-1] = filtered_covariance[:-1] @ F[1:].swapaxes(1, 2) @ np.linalg.inv(predicted_covariance[1:])
    mean, covariance = filtered_mean.copy(), filtered_covariance.copy()
    for node in range(len(mean) - 2, -1, -1):
        K = gain[node]
        mean[node] += K @ (mean[node + 1] - predicted_mean[node + 1])
        covariance[node] += K @ (covariance[node + 1] - predicted_covariance[node + 1]) @ K.T
    return SmoothedChain(
        mean=mean,
        covariance=covariance,
        filtered_mean=filtered_mean,
        filtered_covariance=filtered_covariance,
        predicted_covariance=predicted_covariance,
        gain=gain,
    )


def step_response(chain: MotionChain, smoothed: SmoothedChain, node: int) -> FloatArray:
    """Return how the smoothed motion answers a known step of position into a node, shape (n, 4) [SI/m].

    The smoother is linear: the answer is what it makes of the step alone, all measurements being zero.
    """
    F, _ = chain_matrices(chain)
    PHt = smoothed.predicted_covariance @ OBSERVED[0]
    S = PHt @ OBSERVED[0] + chain.variance_m2
    K = np.where(np.isfinite(chain.position_m), 1 / S, 0.0)[:, None] * PHt
    predicted = np.zeros_like(smoothed.mean)
    predicted[node, 0] = 1.0
    filtered = predicted.copy()
    for k in range(node, len(F)):
        if k > node:
            predicted[k] = F[k] @ filtered[k - 1]
        filtered[k] = predicted[k] - K[k] * (OBSERVED[0] @ predicted[k])
    answer = filtered
    for k in range(len(F) - 2, -1, -1):
        answer[k] += smoothed.gain[k] @ (answer[k + 1] - predicted[k + 1])
    return answer[:, :MOTION_STATES]


def sample_paths(smoothed: SmoothedChain, count: int, generator: np.random.Generator) -> FloatArray:
    """Draw `count` paths of the motion from the joint posterior of all nodes, shape (count, n, 4) [1]_.

    Only whole paths carry the correlation between times that a duration or a length depends on.

    References
    ----------
    .. [1] S. Fruehwirth-Schnatter (1994), Data augmentation and dynamic linear models, J. Time Ser. Anal.
       15:183-202 (forward filtering, backward sampling). doi:10.1111/j.1467-9892.1994.tb00184.x

    """
    nodes = len(smoothed.mean)
    gain = smoothed.gain
    conditional = smoothed.filtered_covariance.copy()
    conditional[:-1] -= gain[:-1] @ smoothed.predicted_covariance[1:] @ gain[:-1].swapaxes(1, 2)
    root = _root(conditional, smoothed.filtered_covariance)
    # Away from the smoothed mean, each node follows the one after it by the gain, with its own noise.
    away = generator.standard_normal((nodes, count, STATES)) @ root.swapaxes(1, 2)
    for node in range(nodes - 2, -1, -1):
        away[node] += away[node + 1] @ gain[node].T
    paths: FloatArray = smoothed.mean[:, None, :MOTION_STATES] + away[:, :, :MOTION_STATES]
    return paths.swapaxes(0, 1)


def _root(covariance: FloatArray, minuend: FloatArray) -> FloatArray:
    """Return A with A A' = covariance, a difference from `minuend`.

    Where the difference is nearly singular, rounding leaves it slightly negative: hence no Cholesky, and
    the scale of the minuend, relative to which the rounding is small. The root is symmetric but for that
    scale: plain eigenvectors may point the other way after a change in the last digit, and every path drawn
    with them would be another.
    """
    scale = np.sqrt(np.einsum("nii->ni", minuend))
    values, vectors = np.linalg.eigh(covariance / scale[:, :, None] / scale[:, None, :])
    symmetric = (vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]) @ vectors.swapaxes(1, 2)
    root: FloatArray = scale[:, :, None] * symmetric
    return root
