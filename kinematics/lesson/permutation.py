"""How the strokes of two conditions could have been dealt out, and the p values that come of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from pennyfall.kinematics.values import BoolArray, FloatArray

MOST_EXACT = 10_000
"""Chosen by us: up to this many arrangements all are visited (under a second); 3 v 3 strokes at two
lengths make 400, 5 v 5 at one length 252, 8 v 8 at one length 12,870."""
DRAWS = 9_999
"""Chosen by us: with the observed one 10,000, so that a p of 0.05 is known to about 0.002."""


def count_arrangements(sizes: Sequence[tuple[int, int]]) -> int:
    """Return how many arrangements there are for (first, second) stroke counts of each stratum."""
    return math.prod(math.comb(first + second, first) for first, second in sizes)


def smallest_p(sizes: Sequence[tuple[int, int]]) -> float:
    """Return the smallest two-sided p a permutation test can give with these stroke counts.

    With as many strokes in both conditions everywhere, each arrangement has a mirror image of the same size.
    """
    mirrored = all(first == second for first, second in sizes)
    return min(1.0, (2 if mirrored else 1) / count_arrangements(sizes))


def arrangements(
    is_first: BoolArray, stratum: FloatArray, *, seed: int, draws: int = DRAWS, most_exact: int = MOST_EXACT
) -> tuple[BoolArray, bool]:
    """Return the arrangements of the first condition's label over the strokes.

    Parameters
    ----------
    is_first : BoolArray
        Whether each stroke was made under the first condition, shape (n,).
    stratum : FloatArray
        Stratum (putt length) of each stroke, shape (n,); labels are exchanged only within a stratum.
    seed : int
        Of the draws, used only where there are too many arrangements to visit all.
    draws, most_exact : int
        Number of random arrangements, and the largest number visited exhaustively.

    Returns
    -------
    BoolArray
        One arrangement a row, shape (m, n). All of them, the observed one among them; or the observed
        one in row 0 followed by random ones. Either way the share of rows at least as extreme as the observed
        one is a valid p value, never zero (Phipson and Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39).
    bool
        Whether all arrangements are there.

    """
    members = [np.flatnonzero(stratum == each) for each in np.unique(stratum)]
    firsts = [int(is_first[each].sum()) for each in members]
    sizes = [(first, len(each) - first) for first, each in zip(firsts, members, strict=True)]
    if count_arrangements(sizes) <= most_exact:
        return _every(len(is_first), members, firsts), True
    generator = np.random.default_rng(seed)
    rows = np.tile(is_first, (draws + 1, 1))
    for each in members:
        rows[1:, each] = generator.permuted(rows[1:, each], axis=1)
    return rows, False


def _every(strokes: int, members: Sequence[np.ndarray], firsts: Sequence[int]) -> BoolArray:
    choices = [itertools.combinations(each, first) for each, first in zip(members, firsts, strict=True)]
    picked = [list(itertools.chain(*pick)) for pick in itertools.product(*choices)]
    rows = np.zeros((len(picked), strokes), dtype=np.bool_)
    np.put_along_axis(rows, np.array(picked, dtype=np.intp), values=True, axis=1)
    return rows


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
