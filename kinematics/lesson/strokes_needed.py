"""How many strokes a condition it takes to see a change of a given size."""

from __future__ import annotations

import math

from scipy import special

from pennyfall.kinematics.lesson.arrangements import smallest_p

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
