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
    weights, differences, variances, fourth, squares, dfs, inverse_ns = [], [], [], [], [], [], []
    for each in np.unique(stratum):
        rows = stratum == each
        seen = known[rows].astype(np.float64)
        count = seen.sum(axis=0)
        centre = np.where(known[rows], values[rows], 0.0).sum(axis=0) / np.maximum(count, 1)
        centred = np.where(
            known[rows], values[rows] - centre, 0.0
        )  # keeps the sums of squares well conditioned
        noise = np.where(known[rows], np.nan_to_num(sds[rows]), 0.0) ** 2
        first = arrangements[:, rows].astype(np.float64)
        cells = [_cell(labels, seen, centred, noise) for labels in (first, 1.0 - first)]
        (n1, mean1, var1), (n2, mean2, var2) = cells
        usable = (n1 >= 2) & (n2 >= 2)
        weight = np.where(usable, n1 * n2 / np.maximum(n1 + n2, 1), np.nan)
        weights.append(weight)
        differences.append(mean2 - mean1)
        variances.append(var1 / n1 + var2 / n2)
        fourth.append((var1 / n1) ** 2 / (n1 - 1) + (var2 / n2) ** 2 / (n2 - 1))
        squares.append((n1 - 1) * var1 + (n2 - 1) * var2)
        dfs.append(n1 + n2 - 2)
        inverse_ns.append(1 / n1 + 1 / n2)
    share = np.array(weights) / np.sum(weights, axis=0)
    variance = np.sum(share**2 * variances, axis=0)
    spread = np.sum(share**4 * fourth, axis=0)
    within_df = np.sum(dfs, axis=0) + 0 * variance
    return StratifiedDifference(
        difference=np.sum(share * differences, axis=0),
        se=np.sqrt(variance),
        df=np.divide(variance**2, spread, out=np.full_like(variance, np.nan), where=spread > 0),
        within_sd=np.sqrt(np.sum(squares, axis=0) / within_df),
        within_df=within_df,
        inverse_n=np.sum(share**2 * inverse_ns, axis=0),
    )


def _cell(
    labels: FloatArray, seen: FloatArray, centred: FloatArray, noise: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return count, mean and floored variance of one condition in one stratum, each of shape (m, q)."""
    n = labels @ seen
    n[n < 2] = np.nan
    mean = labels @ centred / n
    variance = (labels @ centred**2 - n * mean**2) / (n - 1)
    return n, mean, np.maximum(variance, labels @ noise / n)
