"""The whole acceleration profile under two conditions, and where along the stroke it differs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from pennyfall.kinematics.lesson.aligned_profiles import PHASE
from pennyfall.kinematics.lesson.clusters import Cluster, clusters
from pennyfall.kinematics.lesson.set_ups import statistics
from pennyfall.kinematics.lesson.stratified_difference import stratified_difference
from pennyfall.kinematics.lesson.stroke_table import StrokeTable
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
