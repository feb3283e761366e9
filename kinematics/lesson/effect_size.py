"""The size of a difference in units of the scatter, corrected for small samples."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special


@dataclass(frozen=True, kw_only=True, slots=True)
class EffectSize:
    """Hedges' g with its uncertainty; NaN where there is no scatter to divide by."""

    g: float
    """Difference over the within-group standard deviation, bias-corrected [-]."""
    interval: tuple[float, float]
    """From the noncentral t distribution, which stays honest with three strokes [-]."""


def hedges_g(
    difference: float, within_sd: float, *, inverse_n: float, df: float, confidence: float = 0.95
) -> EffectSize:
    """Return Hedges' g of a difference between two means.

    Parameters
    ----------
    difference : float
        Second mean minus first, any unit.
    within_sd : float
        Pooled standard deviation within the groups, same unit.
    inverse_n : float
        Variance of `difference` over `within_sd` squared [-]: 1/n1 + 1/n2 for two groups, the weighted sum
        of those for strata.
    df : float
        Degrees of freedom of `within_sd`: n1 + n2 - 2 for two groups.
    confidence : float
        Of the interval.

    References
    ----------
    .. [1] Hedges (1981), J. Educ. Stat. 6:107-128, exact correction from the gamma function.
    .. [2] Steiger and Fouladi (1997): interval by inverting the noncentral t distribution (from memory).

    """
    missing = math.nan
    if not (within_sd > 0 and df > 0):
        return EffectSize(g=missing, interval=(missing, missing))
    d = difference / within_sd
    correction = small_sample_correction(df)
    t = d / math.sqrt(inverse_n)
    tail = (1 - confidence) / 2
    low, high = (
        correction * math.sqrt(inverse_n) * _noncentrality(t, df, probability)
        for probability in (1 - tail, tail)
    )
    return EffectSize(g=correction * d, interval=(low, high))


def small_sample_correction(df: float) -> float:
    """Return J, the factor that takes the bias out of the standardised difference [1]_.

    References
    ----------
    .. [1] Hedges (1981), J. Educ. Stat. 6:107-128: J = gamma(df/2) / (sqrt(df/2) gamma((df - 1)/2)).

    """
    if df <= 1:
        return math.nan
    return math.exp(special.gammaln(df / 2) - special.gammaln((df - 1) / 2)) / math.sqrt(df / 2)


def _noncentrality(t: float, df: float, probability: float) -> float:
    """Return the noncentrality at which a noncentral t variable falls below `t` with `probability`."""
    if t < 0:  # mirrored: the routine is not good at negative t
        return -_noncentrality(-t, df, 1 - probability)
    return float(special.nctdtrinc(df, probability, t))
