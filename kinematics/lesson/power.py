"""What a number of strokes can show: the size of an effect, the smallest change, the strokes it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special, stats

from pennyfall.kinematics.lesson.permutation import smallest_p
from pennyfall.kinematics.values import INTERVAL_SDS

MOST_STROKES = 200
"""Chosen by us: nobody films more in a lesson; beyond this the answer is 'not with this scatter'."""


def strokes_for_permutation(level: float, lengths: int, fewest: int) -> int:
    """Return strokes a condition and putt length from which a permutation p can fall to `level` at all."""
    n = fewest
    while smallest_p([(n, n)] * lengths) > level:
        n += 1
    return n


def strokes_for_power(change: float, within_sd: float, *, level: float, power: float, lengths: int) -> float:
    """Return strokes a condition and putt length that show `change` with probability `power`.

    Parameters
    ----------
    change : float
        Difference between the conditions to be seen, any unit.
    within_sd : float
        Standard deviation between strokes, measurement error included, same unit.
    level : float
        Two-sided level of the test of this one quantity.
    power : float
        Wanted probability of seeing the change.
    lengths : int
        Putt lengths that are filmed and put together.

    Returns
    -------
    float
        A whole number, or infinity where `MOST_STROKES` would not do; NaN where the scatter is unknown.

    """
    if math.isnan(within_sd):
        return math.nan
    low, high = 1, MOST_STROKES
    if power_of(change, within_sd, strokes=high, level=level, lengths=lengths) < power:
        return math.inf
    while high - low > 1:
        middle = (low + high) // 2
        if power_of(change, within_sd, strokes=middle, level=level, lengths=lengths) >= power:
            high = middle
        else:
            low = middle
    return float(high)


def power_of(change: float, within_sd: float, *, strokes: int, level: float, lengths: int) -> float:
    """Return the power of a two-sided t test with `strokes` a condition at each of `lengths` putt lengths.

    Notes
    -----
    Noncentral t with 2 lengths (strokes - 1) degrees of freedom and noncentrality
    change / (sd sqrt(2 / (strokes lengths))): Cohen (1988), Statistical Power Analysis, ch. 2.
    """
    df = 2 * lengths * (strokes - 1)
    if within_sd == 0:
        return 1.0
    shift = abs(change) / (within_sd * math.sqrt(2 / (strokes * lengths)))
    if shift > 30:  # the noncentral t routine loses digits out there, and the power is one
        return 1.0
    critical = float(special.stdtrit(df, 1 - level / 2))
    upper = 1 - special.nctdtr(df, shift, critical)
    lower = 1 - special.nctdtr(df, -shift, critical)  # mirrored: the routine is not good at negative t
    return float(upper + lower)


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
    .. [2] Steiger and Fouladi (1997): interval by inverting the noncentral t distribution.

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
