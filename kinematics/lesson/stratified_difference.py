"""The difference between two conditions, put together over putt lengths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StratifiedDifference:
    """Second condition minus first for every arrangement and quantity, each array of shape (m, q).

    NaN where a cell (a condition at a putt length) has fewer than two strokes with a value.
    """

    difference: FloatArray
    """Weighted mean over the putt lengths of the differences of means, unit of the quantity."""
    se: FloatArray
    """Standard error of `difference`, same unit."""
    df: FloatArray
    """Degrees of freedom of `se` by Welch and Satterthwaite [-]."""
    within_sd: FloatArray
    """Pooled standard deviation between the strokes of a cell, same unit."""
    within_df: FloatArray
    """Degrees of freedom of `within_sd` [-]."""
    inverse_n: FloatArray
    """Variance of `difference` in units of a cell's variance [-]: 1/n1 + 1/n2 for one putt length."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def t(self) -> FloatArray:
        """The difference over its standard error, shape (m, q) [-]; zero where there is neither."""
        return np.divide(self.difference, self.se, out=np.zeros_like(self.se), where=self.se > 0)

    def half_width(self, confidence: float = 0.95) -> FloatArray:
        """Return half the width of the interval of `difference`, shape (m, q)."""
        quantile = np.full_like(self.df, np.nan)
        known = self.df > 0
        quantile[known] = special.stdtrit(self.df[known], (1 + confidence) / 2)
        return quantile * self.se


def stratified_difference(
    values: FloatArray, sds: FloatArray, stratum: FloatArray, arrangements: BoolArray
) -> StratifiedDifference:
    """Compare two conditions over strata with a Welch-type statistic.

    Parameters
    ----------
    values : FloatArray
        Values of the strokes, shape (n, q), one unit a column; NaN where not measured.
    sds : FloatArray
        Standard deviations of the measurement, same shape and unit; NaN counts as zero.
    stratum : FloatArray
        Stratum (putt length) of each stroke, shape (n,).
    arrangements : BoolArray
        Which strokes count as the first condition's, one arrangement a row, shape (m, n).

    Notes
    -----
    In stratum l the difference is d_l with variance s1^2/n1 + s2^2/n2 (Welch: each condition keeps its own
    scatter), weighted by n1 n2 / (n1 + n2); the degrees of freedom are Satterthwaite's over all the cells
    (Welch 1947, Biometrika 34:28-35; Satterthwaite 1946, Biometrics Bull. 2:110-114). For one stratum this is
    Welch's test. A cell's variance is floored by the mean measurement variance of its own strokes: three
    strokes that happen to agree better than they can be measured are not evidence. The floor moves with
    the strokes, so a permutation test of the statistic stays exact.

    """
    known = np.isfinite(values)
    noise = np.where(known, np.nan_to_num(sds), 0.0) ** 2
    empty = np.zeros((len(arrangements), values.shape[1]))
    difference, variance, fourth, squares = (empty.copy() for _ in range(4))
    weight, within_df, inverse_n = (np.zeros((len(arrangements), 1)) for _ in range(3))
    for each in np.unique(stratum):
        rows = stratum == each
        cells = _Stratum(values[rows], known[rows], noise[rows])
        first = arrangements[:, rows].astype(np.float64)
        (n1, mean1, var1), (n2, mean2, var2) = cells.cell(first), cells.cell(1.0 - first)
        w = n1 * n2 / (n1 + n2)
        w_squared = w * w
        of_mean1, of_mean2 = var1 / n1, var2 / n2
        weight = weight + w
        difference += w * (mean2 - mean1)
        variance += w_squared * (of_mean1 + of_mean2)
        spread = of_mean1 * of_mean1 / (n1 - 1) + of_mean2 * of_mean2 / (n2 - 1)
        fourth += w_squared * w_squared * spread
        squares += (n1 - 1) * var1 + (n2 - 1) * var2
        within_df = within_df + n1 + n2 - 2
        inverse_n = inverse_n + w_squared * (1 / n1 + 1 / n2)
    return StratifiedDifference(
        difference=difference / weight,
        se=np.sqrt(variance) / weight,
        df=np.divide(variance * variance, fourth, out=np.full_like(variance, np.nan), where=fourth > 0),
        within_sd=np.sqrt(squares / within_df),
        within_df=empty + within_df,
        inverse_n=empty + inverse_n / (weight * weight),
    )


class _Stratum:
    """Strokes at one putt length, ready to be dealt out."""

    def __init__(self, values: FloatArray, known: BoolArray, noise: FloatArray) -> None:
        self._noise = noise
        self._known = known.astype(np.float64) if not known.all() else None
        count = np.maximum(known.sum(axis=0), 1)
        centre = np.where(known, values, 0.0).sum(axis=0) / count
        # centred, so that the sums of squares lose no digits to a mean far from zero
        self._values = np.where(known, values - centre, 0.0)
        self._squares = self._values * self._values

    def cell(self, labels: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return count, mean and floored variance of the labelled strokes, broadcastable to (m, q)."""
        n = labels.sum(axis=1, keepdims=True) if self._known is None else labels @ self._known
        n = np.where(n < 2, np.nan, n)
        mean = labels @ self._values / n
        variance = (labels @ self._squares - n * mean * mean) / (n - 1)
        return n, mean, np.maximum(variance, labels @ self._noise / n)
