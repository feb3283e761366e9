"""The ways the strokes of two conditions could have been dealt out, within each putt length."""

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
