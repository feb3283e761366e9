"""The whole acceleration profile under two conditions, and where along the stroke it differs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from pennyfall.kinematics.lesson.set_ups import statistics
from pennyfall.kinematics.lesson.stratified_difference import stratified_difference
from pennyfall.kinematics.lesson.stroke_table import PHASE, StrokeTable
from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays

NODE_LEVEL = 0.05
"""Chosen by us: a node counts for a cluster from its own two-sided 5 % on; a looser level finds broad weak
differences, a stricter one short strong ones, and either way the test of the cluster keeps its level."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ProfileBand:
    """Mean acceleration profile of a condition at one putt length, over time made equal."""

    phase: FloatArray
    """0 takeaway, 1 top of the backswing, 2 impact, shape (p,)."""
    strokes_mps2: FloatArray
    """Each stroke, shape (n, p) [m/s^2]."""
    mean_mps2: FloatArray
    """Shape (p,) [m/s^2]."""
    low_mps2: FloatArray
    """Lower end of the 95 % interval of the mean at each phase, shape (p,) [m/s^2]."""
    high_mps2: FloatArray
    """Upper end, shape (p,) [m/s^2]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(frozen=True, kw_only=True, slots=True)
class DifferingStretch:
    """A stretch of the stroke at which the profiles differ."""

    from_phase: float
    to_phase: float
    difference_mps2: float
    """Mean difference over the stretch, second minus first [m/s^2]."""
    p_adjusted: float
    """Cluster permutation p, corrected for the number of pairs of conditions."""
    claimed: bool


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ProfileComparison:
    """Second condition's profile minus the first's, all putt lengths together."""

    stretches: tuple[DifferingStretch, ...]
    """Clusters found, claimed or not."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def claimed(self) -> bool:
        """Whether the profiles are claimed to differ."""
        return any(each.claimed for each in self.stretches)


def compare_profiles(
    table: StrokeTable,
    is_first: BoolArray,
    labels: BoolArray,
    *,
    level: float,
    pairs: int,
    claims: bool,
    seed: int,
) -> ProfileComparison | None:
    """Compare the aligned acceleration profiles of two conditions.

    Parameters
    ----------
    table : StrokeTable
        The strokes of both conditions.
    is_first : BoolArray
        Whether each stroke is the first condition's, shape (n,).
    labels : BoolArray
        All arrangements to compare with, shape (m, n).
    level : float
        Level of the claim.
    pairs : int
        Pairs of conditions in the lesson.
    claims : bool
        False where there are too few strokes to claim anything.
    seed : int
        Of the draws of the scales' errors.

    Returns
    -------
    ProfileComparison or None
        None where a condition has fewer than two profiles at a putt length.

    """
    curves, sds, stratum = table.acceleration_mps2, table.acceleration_sd_mps2, table.putt_length_m
    observed = stratified_difference(curves, sds, stratum, is_first[None, :])
    if not np.isfinite(observed.difference).all():
        return None
    every = stratified_difference(curves, sds, stratum, labels)
    df = float(observed.within_df[0, 0])
    threshold = float(stats.t.ppf(1 - NODE_LEVEL / 2, df))
    difference = observed.difference[0]
    shared = table.shared_profile_scale(is_first)
    alike, t = statistics(every, observed, shared, seed=seed)
    return ProfileComparison(
        stretches=tuple(
            _stretch(each, difference, min(1.0, pairs * each.p), level, claims=claims)
            for each in clusters(alike, t, threshold)
        ),
    )


def profile_band(table: StrokeTable, condition: str, putt_length_m: float) -> ProfileBand:
    """Return mean and band of a condition's profiles at one putt length, of the strokes that have one."""
    curves = table.acceleration_mps2[table.rows(condition, putt_length_m)]
    curves = curves[np.isfinite(curves).all(axis=1)]
    n = len(curves)
    missing = np.full(len(PHASE), np.nan)
    mean = curves.mean(axis=0) if n else missing
    sd = curves.std(axis=0, ddof=1) if n > 1 else missing
    half = float(stats.t.ppf(0.975, n - 1)) * sd / np.sqrt(n) if n > 1 else missing
    return ProfileBand(
        phase=PHASE,
        strokes_mps2=curves,
        mean_mps2=mean,
        low_mps2=mean - half,
        high_mps2=mean + half,
    )


def _stretch(
    cluster: Cluster, difference: FloatArray, p: float, level: float, *, claims: bool
) -> DifferingStretch:
    return DifferingStretch(
        from_phase=float(PHASE[cluster.first]),
        to_phase=float(PHASE[cluster.last]),
        difference_mps2=float(difference[cluster.first : cluster.last + 1].mean()),
        p_adjusted=p,
        claimed=claims and p <= level,
    )


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
