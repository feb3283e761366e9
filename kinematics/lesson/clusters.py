"""Runs of neighbouring nodes at which two sets of curves differ, and what chance makes of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class Cluster:
    """A run of nodes beyond the threshold on one side."""

    first: int
    """Index of its first node."""
    last: int
    """Index of its last node."""
    mass: float
    """Sum of the statistic over the run, signed."""
    p: float
    """Share of arrangements whose largest cluster, of either sign, is at least as massive."""


def clusters(statistics: FloatArray, observed: FloatArray, threshold: float) -> tuple[Cluster, ...]:
    """Return the clusters of the observed curve of statistics with their permutation p values.

    Parameters
    ----------
    statistics : FloatArray
        Statistic at each node for every arrangement, shape (m, q), the observed one among them.
    observed : FloatArray
        Statistic of the strokes as they were made, shape (q,).
    threshold : float
        Size from which a node counts. It decides which clusters the test is good at finding, never its
        validity.

    References
    ----------
    .. [1] Maris and Oostenveld (2007), J. Neurosci. Methods 164:177-190: maximum cluster mass. The p value is
       about the whole curve: it says that the conditions differ; the ends of the run are an estimate
       (Sassenhagen and Draschkow 2019, Psychophysiology 56:e13335).

    """
    largest = np.maximum(largest_mass(statistics, threshold), largest_mass(-statistics, threshold))
    found = []
    for sign in (1.0, -1.0):
        beyond = np.concatenate(([False], sign * observed > threshold, [False]))
        edges = np.flatnonzero(np.diff(beyond.astype(np.int8)))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            mass = float(observed[start:stop].sum())
            p = float(np.mean(largest >= abs(mass) * (1 - 1e-9)))  # ties differ by rounding only
            found.append(Cluster(first=int(start), last=int(stop - 1), mass=mass, p=p))
    return tuple(sorted(found, key=lambda each: each.first))


def largest_mass(statistics: FloatArray, threshold: float) -> FloatArray:
    """Return the mass of the heaviest cluster above `threshold` in each row, shape (m,); zero where none."""
    beyond = statistics > threshold
    running = np.cumsum(np.where(beyond, statistics, 0.0), axis=1)
    before = np.maximum.accumulate(np.where(beyond, 0.0, running), axis=1)
    mass: FloatArray = (running - before).max(axis=1)
    return mass
