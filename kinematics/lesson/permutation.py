"""Permutation p values of several quantities, corrected for having looked at all of them."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray

_TIE = 1e-9
"""Arrangements that are the same split differ by rounding only: the relative size of it, with a margin."""


def adjusted_p(statistics: FloatArray, observed: FloatArray) -> FloatArray:
    """Return two-sided p values corrected for the number of quantities, by the step-down maximum statistic.

    Parameters
    ----------
    statistics : FloatArray
        Statistic of every arrangement, shape (m, q), the observed one among them; the columns must be on one
        scale, as t values are. Of one column the p value is the plain one.
    observed : FloatArray
        Statistic of the strokes as they were made, shape (q,).

    Returns
    -------
    FloatArray
        Adjusted two-sided p values, shape (q,); the chance that any true null quantity of the family comes
        out below a level is at most that level.

    Notes
    -----
    Westfall and Young (1993), Resampling-Based Multiple Testing, algorithm 4.1 with maximum statistics; in
    the notation of Ge, Dudoit and Speed (2003), Test 12:1-77, box 2. Preferred to Holm's correction because
    peak place, acceleration at impact and acceleration before impact rise and fall together, and because
    Holm's factor would multiply the smallest p that few strokes can give (3 v 3 at two lengths: 0.005).

    """
    sizes, size = np.abs(statistics), np.abs(observed)
    order = np.argsort(-size, kind="stable")
    largest_left = np.maximum.accumulate(sizes[:, order[::-1]], axis=1)[:, ::-1]
    stepped = np.maximum.accumulate(_at_least(largest_left, size[order]).mean(axis=0))
    adjusted = np.empty_like(stepped)
    adjusted[order] = stepped
    return adjusted


def _at_least(sizes: FloatArray, size: FloatArray) -> FloatArray:
    at_least: FloatArray = (sizes >= size * (1 - _TIE)).astype(np.float64)
    return at_least
