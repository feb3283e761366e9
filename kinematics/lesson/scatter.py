"""How much of the spread between strokes is the student's own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from pennyfall.kinematics.values import Estimate


@dataclass(frozen=True, kw_only=True, slots=True)
class Scatter:
    """Spread of one quantity over the strokes of one condition at one putt length; NaN where not knowable."""

    strokes: int
    """Strokes with a value [-]."""
    mean: float
    """Mean over the strokes, SI."""
    mean_interval: tuple[float, float]
    """Interval of the mean, by Student's t and what the strokes share, SI."""
    sd: float
    """Standard deviation between strokes as measured, measurement error included, SI."""
    measurement_sd: float
    """Root mean square of the strokes' own standard deviations, SI."""
    own_sd: float
    """The student's own standard deviation: what the measurement error leaves, never below zero, SI."""
    own_sd_interval: tuple[float, float]
    """Interval of `own_sd`, SI; its lower end is zero where measurement error could be all there is."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Spread:
    """How much one quantity varies between strokes of one condition at one putt length, pooled over some."""

    variance: float
    """Measurement error included, SI squared."""
    df: float
    """Its degrees of freedom [-]; with 0 the variance says nothing."""

    @property
    def sd(self) -> float:
        """Standard deviation, SI; NaN without degrees of freedom."""
        return math.sqrt(self.variance) if self.df else math.nan

    def with_more(self, other: Spread) -> Spread:
        """Return both pooled, each by its degrees of freedom."""
        known = [each for each in (self, other) if each.df]
        df = sum(each.df for each in known)
        total = sum(each.df * each.variance for each in known)
        return Spread(variance=total / df if df else math.nan, df=df)


def scatter(estimates: Sequence[Estimate], *, shared_sd: float = 0.0, confidence: float = 0.95) -> Scatter:
    """Separate measurement error from the student's own scatter.

    Parameters
    ----------
    estimates : sequence of Estimate
        One value with its standard deviation for each stroke, any one unit; unknown ones are left out.
    shared_sd : float
        Standard deviation that their mean has in common with nobody's scatter, such as that of scale, same
        unit.
    confidence : float
        Of both intervals.

    Returns
    -------
    Scatter

    Notes
    -----
    For stroke i, y_i = mean + own_i + error_i with var(error_i) = sd_i^2 known, so the expected sample
    variance is own^2 + mean(sd_i^2): the method-of-moments estimate of own^2 is the difference, floored at
    zero. The interval takes the chi-squared interval of the total variance and subtracts the same
    mean(sd_i^2); it treats the measurement error as known and as independent between strokes. An error
    shared by all the strokes of a set-up, such as that of scale, is in neither part, but widens the mean's
    interval.

    """
    known = [each for each in estimates if each.known]
    n = len(known)
    missing = math.nan
    mean = float(np.mean([each.value for each in known])) if n else missing
    error_variance = float(np.mean([each.sd**2 for each in known])) if n else missing
    if n < 2:
        return Scatter(
            strokes=n, mean=mean, mean_interval=(missing, missing), sd=missing,
            measurement_sd=math.sqrt(error_variance), own_sd=missing, own_sd_interval=(missing, missing),
        )  # fmt: skip
    variance = float(np.var([each.value for each in known], ddof=1))
    tail = (1 - confidence) / 2
    by_scatter = float(special.stdtrit(n - 1, 1 - tail)) * math.sqrt(variance / n)
    half_width = math.hypot(by_scatter, float(special.ndtri(1 - tail)) * shared_sd)
    low, high = (
        (n - 1) * variance / float(special.chdtri(n - 1, upper_tail)) - error_variance
        for upper_tail in (tail, 1 - tail)
    )
    return Scatter(
        strokes=n,
        mean=mean,
        mean_interval=(mean - half_width, mean + half_width),
        sd=math.sqrt(variance),
        measurement_sd=math.sqrt(error_variance),
        own_sd=_root(variance - error_variance),
        own_sd_interval=(_root(low), _root(high)),
    )


def _root(variance: float) -> float:
    return variance if math.isnan(variance) else math.sqrt(max(variance, 0.0))
