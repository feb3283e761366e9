"""The smallest change worth believing."""

from __future__ import annotations

import math

from scipy import stats

from pennyfall.kinematics.values import INTERVAL_SDS


def minimal_detectable_change(
    sem: float,
    *,
    strokes: float = 1,
    df: float = math.inf,
    shared_sd: float = 0.0,
    confidence: float = 0.95,
) -> float:
    """Return the smallest change between two occasions that is more than scatter.

    Parameters
    ----------
    sem : float
        Standard deviation of one stroke about the student's own level, any unit.
    strokes : float
        Strokes averaged on each of the two occasions.
    df : float
        Degrees of freedom behind `sem`; with few strokes Student's t replaces the normal quantile. Infinite
        gives the usual 1.96 sqrt(2) SEM.
    shared_sd : float
        Standard deviation that all strokes of an occasion have in common, such as its scale's, same unit.
    confidence : float
        Two-sided.

    References
    ----------
    .. [1] Weir (2005), J. Strength Cond. Res. 19:231-240: MD = SEM x 1.96 x sqrt(2).

    """
    quantile = float(
        stats.norm.ppf((1 + confidence) / 2) if math.isinf(df) else stats.t.ppf((1 + confidence) / 2, df)
    )
    common = INTERVAL_SDS * math.sqrt(2) * shared_sd
    return math.hypot(quantile * math.sqrt(2 / strokes) * sem, common)
