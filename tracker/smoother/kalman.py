"""The two passes over a chain: filterpy's for one model, smoothed backward, and one for many models at once.

The pass for one gives states, covariances and joint samples of the whole path; the one for many gives what
weighs them, their innovations and likelihoods, in arrays that filterpy's filter does not take.

A filter that runs across an impact spreads the velocity step over its own width. Here the chain carries a
kick at the impact instant: velocity, acceleration and jerk start anew there, position is joined exactly. A
pass over such a chain is the pass on either side of the impact, coupled by the position alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from filterpy.kalman import KalmanFilter

from pennyfall.kinematics.stroke.smoothed import POSITION
from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.smoother.chain import (
    MOTION_STATES,
    OBSERVED_STATES,
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


def smooth_chain(chain: MotionChain) -> SmoothedChain:
    """Return the posterior of every node of a stroke's chain."""
    F, Q = chain_matrices(chain)
    return smooth_states(
        chain.position_m, chain.variance_m2, F, Q, chain.start_mean, chain.start_covariance, OBSERVED_STATES
    )


def smooth_states(
    position_m: FloatArray,
    variance_m2: FloatArray,
    F: FloatArray,
    Q: FloatArray,
    start_mean: FloatArray,
    start_covariance: FloatArray,
    observed: Sequence[int],
    push: FloatArray | None = None,
) -> SmoothedChain:
    """Filter forward and smooth backward [1]_.

    Parameters as of `innovations`, `Q` of shape (n, s, s); `push` is a known change of the states on arriving
    at each node, shape (n, s).

    References
    ----------
    .. [1] H. E. Rauch, F. Tung, C. T. Striebel (1965), Maximum likelihood estimates of linear dynamic
       systems, AIAA J. 3(8):1445-1450. doi:10.2514/3.3166

    """
    kalman = KalmanFilter(dim_x=len(start_mean), dim_z=1)
    kalman.x = start_mean.copy()
    kalman.P = start_covariance.copy()
    kalman.H = np.zeros((1, len(start_mean)))
    kalman.H[0, list(observed)] = 1.0
    kalman.B = None if push is None else np.eye(len(start_mean))
    kalman.inv = np.reciprocal  # the innovation's variance is a single number
    measured = [None if np.isnan(x) else x for x in position_m]
    filtered_mean, filtered_covariance, predicted_mean, predicted_covariance = kalman.batch_filter(
        measured, Fs=F, Qs=Q, Rs=variance_m2[:, None, None], us=push
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


def step_response(chain: MotionChain, node: int) -> FloatArray:
    """Return how the smoothed motion answers a known step of position into a node, shape (n, 4) [SI/m].

    The smoother is linear: the answer is what it makes of the step alone, all measurements being zero. Of a
    step at the impact it says how the curve bends with the impact's instant: as two more smoothings gave it,
    to a tenth, in 2 ms instead of 40, so that every stroke has it.
    """
    F, Q = chain_matrices(chain)
    step = np.zeros((len(F), STATES))
    step[node, POSITION] = 1.0
    answer = smooth_states(
        0.0 * chain.position_m,
        chain.variance_m2,
        F,
        Q,
        np.zeros(STATES),
        chain.start_covariance,
        OBSERVED_STATES,
        step,
    )
    return answer.mean[:, :MOTION_STATES]


def innovations(
    position_m: FloatArray,
    variance_m2: FloatArray,
    F: FloatArray,
    Q: Iterable[FloatArray],
    start_mean: FloatArray,
    start_covariance: FloatArray,
    observed: Sequence[int] = OBSERVED_STATES,
) -> Iterator[tuple[int, FloatArray, FloatArray]]:
    """Yield node, innovation [m] and its variance [m^2] under each of b models, shape (b,), by measurement.

    Parameters
    ----------
    position_m : ndarray, shape (n,) [m]
        Measured positions, NaN where there is none.
    variance_m2 : ndarray, shape (n,) [m^2]
        Variance of what is independent in each measurement.
    F : ndarray, shape (n, s, s)
        Transition into each node.
    Q : iterable of ndarray, shape (s, s, b)
        Process covariance under each model, of the step into each node; (s, s, 1) as long as all agree. Where
        they end before the nodes, so does the pass.
    start_mean, start_covariance : ndarray, shapes (s,) and (s, s)
        State before the first node.
    observed : sequence of int
        The states whose sum a measurement shows.

    """
    seen = list(observed)
    state, P = start_mean[:, None], start_covariance[:, :, None]  # the same for all models
    for node, step_Q in enumerate(Q):
        P = F[node] @ (F[node] @ P).swapaxes(0, 1) + step_Q  # F P F' + Q, P being symmetric
        state = F[node] @ state
        if np.isnan(position_m[node]):
            continue
        PHt = P[seen].sum(axis=0)
        S = PHt[seen].sum(axis=0) + variance_m2[node]
        innovation = sum((-state[each] for each in observed), start=position_m[node])
        yield node, innovation, S
        K = PHt / S
        state = state + K * innovation
        P -= K[:, None] * PHt


def log_likelihoods(
    position_m: FloatArray,
    variance_m2: FloatArray,
    F: FloatArray,
    Q: Iterable[FloatArray],
    start_mean: FloatArray,
    start_covariance: FloatArray,
) -> FloatArray:
    """Return the log likelihood of the measurements under each of b models, from their innovations [1]_.

    Parameters as of `innovations`.

    References
    ----------
    .. [1] F. C. Schweppe (1965), Evaluation of likelihood functions for Gaussian signals, IEEE Trans. Inf.
       Theory 11:61-70. doi:10.1109/TIT.1965.1053737

    """
    total = np.zeros(1)
    for _, innovation, S in innovations(position_m, variance_m2, F, Q, start_mean, start_covariance):
        total = total - 0.5 * (innovation**2 / S + np.log(2 * np.pi * S))
    return total


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
