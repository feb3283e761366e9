"""The smallest change worth believing."""

from __future__ import annotations

import math

from scipy import stats


def minimal_detectable_change(
    sem: float, *, strokes: float = 1, df: float = math.inf, confidence: float = 0.95
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
    confidence : float
        Two-sided.

    References
    ----------
    .. [1] Weir (2005), J. Strength Cond. Res. 19:231-240: MD = SEM x 1.96 x sqrt(2).

    """
    quantile = float(
        stats.norm.ppf((1 + confidence) / 2) if math.isinf(df) else stats.t.ppf((1 + confidence) / 2, df)
    )
    return quantile * math.sqrt(2 / strokes) * sem
