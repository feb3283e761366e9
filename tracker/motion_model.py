"""The motion model of the smoother: jerk as a random walk, with kicks at takeaway, top and impact."""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np

from pennyfall.kinematics.values import FloatArray, freeze_arrays

STATES = 4
"""Position, velocity, acceleration, jerk."""


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
    """Variance of each measurement, shape (n,) [m^2]."""
    diffusion: FloatArray
    """Spectral density of the white noise on jerk over the step into each node, shape (n,) [m^2/s^7]."""
    kick: FloatArray
    """Variance added to each state on arriving at a node, shape (n, 4) [SI^2]."""
    start_mean: FloatArray
    """State before the first node, shape (4,)."""
    start_covariance: FloatArray
    """Its covariance, shape (4, 4)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def transition(dt_s: FloatArray) -> FloatArray:
    """Return the transition matrices F over steps of `dt_s` (shape (...,)), shape (..., 4, 4)."""
    F = np.zeros((*np.shape(dt_s), STATES, STATES))
    for row in range(STATES):
        for column in range(row, STATES):
            F[..., row, column] = dt_s ** (column - row) / factorial(column - row)
    return F


def jerk_walk_covariance(dt_s: FloatArray) -> FloatArray:
    """Return the process covariance of unit white noise on jerk over steps of `dt_s`, shape (..., 4, 4).

    The exact integral of F(s) e e' F(s)' over the step (Bar-Shalom, Li & Kirubarajan 2001, section 6.2, one
    order higher than their Wiener-process acceleration model).
    """
    Q = np.zeros((*np.shape(dt_s), STATES, STATES))
    for row in range(STATES):
        for column in range(STATES):
            power = 2 * STATES - 1 - row - column
            Q[..., row, column] = dt_s**power / (
                factorial(STATES - 1 - row) * factorial(STATES - 1 - column) * power
            )
    return Q


def chain_matrices(chain: MotionChain) -> tuple[FloatArray, FloatArray]:
    """Return F and Q of the step into each node, both of shape (n, 4, 4); the first step is the identity."""
    dt = np.diff(chain.time_s, prepend=chain.time_s[:1])
    Q = chain.diffusion[:, None, None] * jerk_walk_covariance(dt)
    Q[:, range(STATES), range(STATES)] += chain.kick
    return transition(dt), Q
