"""Exact and random arrangements, and the correction for looking at many quantities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pennyfall.kinematics.lesson.permutation import adjusted_p, arrangements, count_arrangements, smallest_p
from pennyfall.kinematics.lesson.stratified_difference import stratified_difference
from pennyfall.kinematics.values import BoolArray, FloatArray


@pytest.fixture
def mice() -> tuple[FloatArray, BoolArray]:
    """Survival days of 7 treated and 9 control mice.

    Efron and Tibshirani (1993), An Introduction to the Bootstrap, table 2.1.
    """
    days = np.array([94, 197, 16, 38, 99, 141, 23, 52, 104, 146, 10, 51, 30, 40, 27, 46.0])
    return days, np.arange(16) < 7


def _labels(is_first: BoolArray, stratum: FloatArray | None = None) -> BoolArray:
    where = np.zeros(len(is_first)) if stratum is None else stratum
    labels, exact = arrangements(is_first, where, seed=1, most_exact=20_000)
    assert exact
    return labels


def test_the_exact_test_of_a_published_example_is_reproduced(mice: tuple[FloatArray, BoolArray]) -> None:
    # Efron and Tibshirani (1993), section 15.2: difference 30.63; exact counts 1613 (one-sided) and 3184
    # (two-sided) of 11,440 by independent enumeration; their own 1000 random arrangements gave 0.132 (from
    # memory).
    days, treated = mice
    labels = _labels(treated)
    assert len(labels) == 11_440
    difference = np.array([days[row].mean() - days[~row].mean() for row in labels])
    observed = days[treated].mean() - days[~treated].mean()
    assert observed == pytest.approx(30.63, abs=0.005)
    assert np.count_nonzero(difference >= observed - 1e-9) == 1613
    p = adjusted_p(difference[:, None], np.array([observed]))
    assert p[0] * 11_440 == pytest.approx(3184, abs=1e-6)


def test_the_exact_test_agrees_with_scipy_on_its_own_statistic(mice: tuple[FloatArray, BoolArray]) -> None:
    days, treated = mice

    def welch(a: FloatArray, b: FloatArray, axis: int) -> FloatArray:
        size: FloatArray = np.abs(stats.ttest_ind(a, b, equal_var=False, axis=axis).statistic)
        return size

    reference = stats.permutation_test(
        (days[treated], days[~treated]),
        welch,
        alternative="greater",
        n_resamples=20_000,  # more than the 11,440 there are, so all are visited
        vectorized=True,
    )
    stratum = np.zeros(16)
    values, sds = days[:, None], np.zeros((16, 1))
    every = stratified_difference(values, sds, stratum, _labels(treated))
    observed = stratified_difference(values, sds, stratum, treated[None, :])
    assert adjusted_p(every.t, observed.t[0])[0] == pytest.approx(reference.pvalue, abs=1e-12)


@pytest.mark.parametrize(
    ("sizes", "count", "smallest"),
    [
        ([(3, 3)], 20, 0.1),
        ([(4, 4)], 70, 2 / 70),
        ([(3, 4)], 35, 1 / 35),
        ([(3, 3), (3, 3)], 400, 0.005),
    ],
)
def test_the_smallest_p_follows_from_the_number_of_arrangements(
    sizes: list[tuple[int, int]], count: int, smallest: float
) -> None:
    assert count_arrangements(sizes) == count
    assert smallest_p(sizes) == pytest.approx(smallest)


def test_complete_separation_reaches_the_smallest_p_and_not_less() -> None:
    values = np.array([[1.0], [2], [3], [11], [12], [13]])
    first = np.arange(6) < 3
    every = stratified_difference(values, np.zeros((6, 1)), np.zeros(6), _labels(first))
    observed = stratified_difference(values, np.zeros((6, 1)), np.zeros(6), first[None, :])
    assert adjusted_p(every.t, observed.t[0])[0] == pytest.approx(0.1)


def test_labels_are_exchanged_only_within_a_putt_length() -> None:
    stratum = np.array([6.0, 6, 6, 6, 12, 12, 12])
    first = np.array([True, True, False, False, True, False, False])
    labels = _labels(first, stratum)
    assert len(labels) == 6 * 3
    assert (labels[:, :4].sum(axis=1) == 2).all()
    assert (labels[:, 4:].sum(axis=1) == 1).all()
    assert len({row.tobytes() for row in labels}) == 18


def test_random_arrangements_hold_the_observed_one_and_repeat_with_the_seed() -> None:
    first, stratum = np.arange(24) % 2 == 0, np.zeros(24)
    drawn, exact = arrangements(first, stratum, seed=7, draws=500)
    again, _ = arrangements(first, stratum, seed=7, draws=500)
    other, _ = arrangements(first, stratum, seed=8, draws=500)
    assert not exact
    assert (drawn[0] == first).all()
    assert (drawn.sum(axis=1) == 12).all()
    assert (drawn == again).all()
    assert (drawn != other).any()


def test_random_arrangements_come_close_to_the_exact_p(mice: tuple[FloatArray, BoolArray]) -> None:
    days, treated = mice
    labels, exact = arrangements(treated, np.zeros(16), seed=3, draws=9_999, most_exact=0)
    assert not exact
    difference = np.array([days[row].mean() - days[~row].mean() for row in labels])
    p = adjusted_p(difference[:, None], difference[:1])[0]
    assert p == pytest.approx(3184 / 11_440, abs=4 * math.sqrt(0.28 * 0.72 / 10_000))


def test_adjusted_p_equals_the_step_down_maximum_written_out_by_hand(generator: np.random.Generator) -> None:
    """Westfall and Young's algorithm: for the j-th largest, the maximum over it and all smaller ones."""
    statistics = generator.standard_normal((300, 4))
    observed = np.array([0.4, 2.9, 2.2, 1.0])
    statistics[0] = observed
    order = [1, 2, 3, 0]
    expected, before = {}, 0.0
    for j, column in enumerate(order):
        largest = np.abs(statistics[:, order[j:]]).max(axis=1)
        before = max(before, float(np.mean(largest >= observed[column])))
        expected[column] = before
    assert adjusted_p(statistics, observed) == pytest.approx([expected[c] for c in range(4)])


def test_one_quantity_needs_no_correction(generator: np.random.Generator) -> None:
    statistics = generator.standard_normal((200, 1))
    share = np.mean(np.abs(statistics) >= abs(statistics[0, 0]))
    assert adjusted_p(statistics, statistics[0]) == pytest.approx(share)


def test_the_same_quantity_twice_costs_nothing_where_holm_would_double_it(
    generator: np.random.Generator,
) -> None:
    one = generator.standard_normal((400, 1))
    one[0] = 3.5
    twice = np.hstack([one, one])
    assert adjusted_p(twice, twice[0]) == pytest.approx([adjusted_p(one, one[0])[0]] * 2)
