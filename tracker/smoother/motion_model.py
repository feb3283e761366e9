"""The smoother's model: jerk as a random walk with kicks at takeaway, top and impact, seen with red noise."""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from scipy.special import factorial as factorials

from pennyfall.kinematics.values import FloatArray, freeze_arrays

MOTION_STATES = 4
"""Position, velocity, acceleration, jerk."""
STATES = 5
"""The motion, and the error of the current frame."""
ERROR = 4
"""Index of the error: carried as a state, because it is correlated from frame to frame (Bryson & Johansen
1965, from memory)."""
SERIES_TERMS, QUADRATURE_POINTS = 16, 6
"""Exact to rounding for steps of up to the time in which jerk decays."""
OBSERVED_STATES = (0, ERROR)
"""What a frame shows: the position plus the error."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MotionChain:
    """A linear Gaussian chain of nodes along one axis.

    A node is a frame, an event, or a point put in between so that the curve is finely known. An event is
    two nodes at the same instant: its left and its right limit, with a kick between them.
    """

    time_s: FloatArray
    """Time of each node, shape (n,) [s]; not decreasing."""
    position_m: FloatArray
    """Measured position, shape (n,) [m]; NaN where the node is no measurement."""
    variance_m2: FloatArray
    """Variance of what is independent in each measurement, shape (n,) [m^2]."""
    error_carry: FloatArray
    """Correlation of the error at a node with that at the node before, shape (n,); 1 where it stays the
    same."""
    error_sd_m: FloatArray
    """Standard deviation of the error, shape (n,) [m]."""
    diffusion: FloatArray
    """Spectral density of the white noise on jerk over the step into each node, shape (n,) [m^2/s^7]."""
    jerk_decay_per_s: FloatArray
    """Rate at which jerk decays over the step into each node, shape (n,) [1/s]; 0 where it does not."""
    kick: FloatArray
    """Variance added to each motion state on arriving at a node, shape (n, 4) [SI^2]."""
    start_mean: FloatArray
    """State before the first node, shape (5,)."""
    start_covariance: FloatArray
    """Its covariance, shape (5, 5)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def transition(dt_s: FloatArray) -> FloatArray:
    """Return the transition of the motion over steps of `dt_s` (shape (...,)), shape (..., 4, 4)."""
    F = np.zeros((*np.shape(dt_s), MOTION_STATES, MOTION_STATES))
    for row in range(MOTION_STATES):
        for column in range(row, MOTION_STATES):
            F[..., row, column] = dt_s ** (column - row) / factorial(column - row)
    return F


def jerk_walk_covariance(dt_s: FloatArray) -> FloatArray:
    """Return the process covariance of unit white noise on jerk over steps of `dt_s`, shape (..., 4, 4).

    The exact integral of F(s) e e' F(s)' over the step (Bar-Shalom, Li & Kirubarajan 2001, section 6.2,
    from memory, one order higher than their Wiener-process acceleration model).
    """
    Q = np.zeros((*np.shape(dt_s), MOTION_STATES, MOTION_STATES))
    last = MOTION_STATES - 1
    for row in range(MOTION_STATES):
        for column in range(MOTION_STATES):
            power = 2 * last + 1 - row - column
            Q[..., row, column] = dt_s**power / (factorial(last - row) * factorial(last - column) * power)
    return Q


def decaying_jerk(dt_s: FloatArray, decay_per_s: FloatArray) -> FloatArray:
    """Return what a unit of jerk has done to the motion after steps of `dt_s`, decaying, shape (..., 4).

    The integrals of exp(-decay t), by their series; without decay t^3/6, t^2/2, t and 1.
    """
    terms = np.arange(SERIES_TERMS)
    response = np.empty((*np.shape(dt_s), MOTION_STATES))
    powers = np.asarray(-decay_per_s * dt_s)[..., None] ** terms
    for row in range(MOTION_STATES):
        order = MOTION_STATES - 1 - row
        response[..., row] = dt_s**order * (powers / factorials(terms + order)).sum(axis=-1)
    return response


def decaying_covariance(dt_s: FloatArray, decay_per_s: FloatArray) -> FloatArray:
    """Return the process covariance of unit white noise on a decaying jerk, shape (..., 4, 4).

    The integral of `jerk_walk_covariance` by Gauss-Legendre quadrature, exact without decay.
    """
    Q = np.zeros((*np.shape(dt_s), MOTION_STATES, MOTION_STATES))
    for place, weight in zip(*np.polynomial.legendre.leggauss(QUADRATURE_POINTS), strict=True):
        response = decaying_jerk(dt_s * (1 + place) / 2, decay_per_s)
        Q += (weight / 2 * dt_s)[..., None, None] * response[..., :, None] * response[..., None, :]
    return Q


def with_error(
    F: FloatArray, Q: FloatArray, error_carry: FloatArray, error_sd_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the motion's F and Q (shape (..., n, 4, 4)) extended by the error, shape (..., n, 5, 5)."""
    whole_F = np.zeros((*F.shape[:-2], STATES, STATES))
    whole_F[..., :MOTION_STATES, :MOTION_STATES] = F
    whole_F[..., ERROR, ERROR] = error_carry
    whole_Q = np.zeros((*Q.shape[:-2], STATES, STATES))
    whole_Q[..., :MOTION_STATES, :MOTION_STATES] = Q
    whole_Q[..., ERROR, ERROR] = error_sd_m**2 * (1 - error_carry**2)
    return whole_F, whole_Q


def chain_matrices(chain: MotionChain) -> tuple[FloatArray, FloatArray]:
    """Return F and Q of the step into each node, both of shape (n, 5, 5); the first step takes no time."""
    dt = np.diff(chain.time_s, prepend=chain.time_s[:1])
    F, unit = transition(dt), jerk_walk_covariance(dt)
    decays = chain.jerk_decay_per_s > 0
    if decays.any():
        F[decays, :, MOTION_STATES - 1] = decaying_jerk(dt[decays], chain.jerk_decay_per_s[decays])
        unit[decays] = decaying_covariance(dt[decays], chain.jerk_decay_per_s[decays])
    Q = chain.diffusion[:, None, None] * unit
    Q[:, range(MOTION_STATES), range(MOTION_STATES)] += chain.kick
    return with_error(F, Q, chain.error_carry, chain.error_sd_m)
