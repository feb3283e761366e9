"""How well repeated strokes agree, and the smallest change worth believing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from pennyfall.kinematics.values import FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class MeanSquares:
    """Mean squares of a table of subjects by trials."""

    subjects: int
    trials: int
    rows: float
    """Between subjects."""
    columns: float
    """Between trials."""
    error: float
    """Subjects by trials."""
    within: float
    """Within subjects: trials and error together."""


@dataclass(frozen=True, kw_only=True, slots=True)
class IntraclassCorrelation:
    """One form of the intraclass correlation with its interval."""

    value: float
    low: float
    high: float


def mean_squares(table: FloatArray) -> MeanSquares:
    """Return the mean squares of a complete table, shape (subjects, trials).

    Raises
    ------
    ValueError
        If the table has fewer than two rows or columns, or a value that is not finite.

    """
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise ValueError("an agreement table needs at least 2 subjects by 2 trials of finite values")
    n, k = table.shape
    grand = table.mean()
    row_ss = k * float(((table.mean(axis=1) - grand) ** 2).sum())
    column_ss = n * float(((table.mean(axis=0) - grand) ** 2).sum())
    total_ss = float(((table - grand) ** 2).sum())
    return MeanSquares(
        subjects=n,
        trials=k,
        rows=row_ss / (n - 1),
        columns=column_ss / (k - 1),
        error=(total_ss - row_ss - column_ss) / ((n - 1) * (k - 1)),
        within=(total_ss - row_ss) / (n * (k - 1)),
    )


def intraclass_correlations(table: FloatArray, confidence: float = 0.95) -> dict[str, IntraclassCorrelation]:
    """Return the six intraclass correlations of Shrout and Fleiss, by name ('ICC(1,1)' ... 'ICC(3,k)').

    Parameters
    ----------
    table : FloatArray
        Shape (subjects, trials).
    confidence : float
        Of the intervals.

    References
    ----------
    .. [1] Shrout and Fleiss (1979), Psychol. Bull. 86:420-428: values p. 423-426, intervals p. 424-426.
    .. [2] McGraw and Wong (1996), Psychol. Methods 1:30-46, table 7: the same intervals restated.

    """
    ms = mean_squares(table)
    n, k = ms.subjects, ms.trials
    tail = (1 - confidence) / 2

    def bounds(ratio: float, df_denominator: float) -> tuple[float, float]:
        upper = float(stats.f.ppf(1 - tail, n - 1, df_denominator))
        lower = float(stats.f.ppf(1 - tail, df_denominator, n - 1))
        return ratio / upper, ratio * lower

    def single_and_mean(numerator: float, low: float, high: float) -> tuple[IntraclassCorrelation, ...]:
        ratios = (numerator, low, high)  # each an F: single = (F - 1)/(F + k - 1), mean = (F - 1)/F
        single = [(f - 1) / (f + k - 1) for f in ratios]
        mean = [(f - 1) / f for f in ratios]
        return tuple(IntraclassCorrelation(value=v, low=lo, high=hi) for v, lo, hi in (single, mean))

    one_way = ms.rows / ms.within
    two_way = ms.rows / ms.error
    one, one_k = single_and_mean(one_way, *bounds(one_way, n * (k - 1)))
    three, three_k = single_and_mean(two_way, *bounds(two_way, (n - 1) * (k - 1)))
    two, two_k = _absolute_agreement(ms, tail)
    return {"ICC(1,1)": one, "ICC(2,1)": two, "ICC(3,1)": three,
            "ICC(1,k)": one_k, "ICC(2,k)": two_k, "ICC(3,k)": three_k}  # fmt: skip


def _absolute_agreement(ms: MeanSquares, tail: float) -> tuple[IntraclassCorrelation, IntraclassCorrelation]:
    n, k = ms.subjects, ms.trials
    icc = (ms.rows - ms.error) / (ms.rows + (k - 1) * ms.error + k * (ms.columns - ms.error) / n)
    columns_ratio = ms.columns / ms.error
    shared = k * icc * columns_ratio + n * (1 + (k - 1) * icc) - k * icc
    df = (
        (k - 1) * (n - 1) * shared**2
        / ((n - 1) * k**2 * icc**2 * columns_ratio**2 + (n * (1 + (k - 1) * icc) - k * icc) ** 2)
    )  # fmt: skip  # [1], p. 424
    upper = float(stats.f.ppf(1 - tail, n - 1, df))
    lower = float(stats.f.ppf(1 - tail, df, n - 1))
    other = k * ms.columns + (k * n - k - n) * ms.error
    low = n * (ms.rows - upper * ms.error) / (upper * other + n * ms.rows)
    high = n * (lower * ms.rows - ms.error) / (other + n * lower * ms.rows)
    single = IntraclassCorrelation(value=icc, low=low, high=high)
    # Spearman-Brown carries both ends of the interval to the mean of k trials
    stepped = [k * each / (1 + (k - 1) * each) for each in (icc, low, high)]
    return single, IntraclassCorrelation(value=stepped[0], low=stepped[1], high=stepped[2])


def standard_error_of_measurement(table: FloatArray) -> float:
    """Return SEM = sqrt(MS error), the spread of one trial about the subject's own level, unit of the table.

    References
    ----------
    .. [1] Weir (2005), J. Strength Cond. Res. 19:231-240.

    """
    return math.sqrt(mean_squares(table).error)


def typical_error(first: FloatArray, second: FloatArray) -> float:
    """Return sd(difference)/sqrt(2) of two trials, shape (subjects,) each, in their unit.

    References
    ----------
    .. [1] Hopkins (2000), Sports Med. 30:1-15.

    """
    return float(np.std(second - first, ddof=1)) / math.sqrt(2)


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
