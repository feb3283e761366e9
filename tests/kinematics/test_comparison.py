"""Differences between conditions: published t tests, effect sizes, variance components, strokes needed."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as hypothesis_st
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from pennyfall.kinematics.lesson.condition_summary import condition_means
from pennyfall.kinematics.lesson.power import (
    hedges_g,
    power_of,
    small_sample_correction,
    strokes_for_permutation,
    strokes_for_power,
)
from pennyfall.kinematics.lesson.rules import standard_rules
from pennyfall.kinematics.lesson.scatter import scatter
from pennyfall.kinematics.lesson.stratified_difference import StratifiedDifference, stratified_difference
from pennyfall.kinematics.lesson.stroke_table import stroke_table
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from tests.kinematics.lesson_strokes import Habit, drawn_lesson


def _two_groups(first: list[float], second: list[float]) -> StratifiedDifference:
    values = np.array([first + second]).T
    is_first = np.arange(len(values)) < len(first)
    return stratified_difference(values, np.zeros_like(values), np.zeros(len(values)), is_first[None, :])


def test_welch_is_reproduced_on_a_published_example() -> None:
    # Columbia statistics course W2024, caffeine against placebo, as shipped with spm1d 0.4.55: t = 3.4456;
    # Welch 9.48 degrees of freedom, one-tailed p 0.003391
    caffeine, placebo = [101.0, 110, 103, 93, 99, 104], [91.0, 87, 99, 77, 88, 91]
    found = _two_groups(placebo, caffeine)
    assert found.t[0, 0] == pytest.approx(3.4456, abs=5e-5)
    assert found.df[0, 0] == pytest.approx(9.48, abs=5e-3)
    assert stats.t.sf(found.t[0, 0], found.df[0, 0]) == pytest.approx(0.003391, abs=5e-7)


def test_the_pooled_scatter_gives_students_t_of_a_published_example() -> None:
    # real-statistics.com, flavour example, as shipped with spm1d 0.4.55: t = 2.176768, 18 degrees of freedom
    new, old = [13.0, 17, 19, 11, 20, 15, 18, 9, 12, 16], [12.0, 8, 6, 16, 12, 14, 10, 18, 4, 11]
    found = _two_groups(old, new)
    t = found.difference / (found.within_sd * np.sqrt(found.inverse_n))
    assert t[0, 0] == pytest.approx(2.176768, abs=5e-7)
    assert found.within_df[0, 0] == 18


def test_the_interval_is_scipys_for_unequal_groups(generator: np.random.Generator) -> None:
    first, second = generator.normal(0, 1, 4), generator.normal(1, 3, 9)
    found = _two_groups(first.tolist(), second.tolist())
    reference = stats.ttest_ind(second, first, equal_var=False).confidence_interval(0.95)
    half = found.half_width()[0, 0]
    assert (found.difference[0, 0] - half, found.difference[0, 0] + half) == pytest.approx(reference)


def test_a_difference_between_putt_lengths_does_not_leak_into_the_difference_of_conditions() -> None:
    """Length 12 lies 100 higher and is filmed more often under the second condition; within both it is 2."""
    stratum = np.array([6.0] * 5 + [12.0] * 5)
    first = np.array([1, 1, 1, 0, 0, 1, 1, 0, 0, 0], dtype=np.bool_)
    values = np.array([1.0, 2, 3, 3.5, 4.5, 101, 103, 103, 104, 105])[:, None]
    found = stratified_difference(values, np.zeros((10, 1)), stratum, first[None, :])
    assert found.difference[0, 0] == pytest.approx(2.0)


def test_strokes_that_agree_better_than_they_can_be_measured_are_no_stronger_evidence() -> None:
    values = np.array([1.0, 1.0, 1.0, 1.1, 1.1, 1.1])[:, None]
    first = np.array([[True] * 3 + [False] * 3])
    found = stratified_difference(values, np.full((6, 1), 0.3), np.zeros(6), first)
    assert found.se[0, 0] == pytest.approx(0.3 * math.sqrt(2 / 3))


def test_a_stroke_without_the_quantity_is_left_out_and_nothing_is_changed() -> None:
    values = np.array([1.0, 2, np.nan, 3, 4, 5, 6])[:, None]
    before = values.copy()
    first = np.array([[True] * 4 + [False] * 3])
    found = stratified_difference(values, np.zeros((7, 1)), np.zeros(7), first)
    reference = stats.ttest_ind([4.0, 5, 6], [1.0, 2, 3], equal_var=False)
    assert found.t[0, 0] == pytest.approx(reference.statistic)
    np.testing.assert_array_equal(values, before)


def test_one_stroke_in_a_cell_gives_no_difference() -> None:
    found = _two_groups([1.0], [2.0, 3.0])
    assert math.isnan(found.difference[0, 0])
    assert found.t[0, 0] == 0


def test_hedges_g_equals_the_published_worked_example() -> None:
    # Borenstein et al. (2009), Introduction to Meta-Analysis, ch. 4: means 103 and 100, sd 5.5 and 4.5, n 50
    # and 50: g = 0.5924 (the last digit moves with their approximate J)
    pooled = math.sqrt((49 * 5.5**2 + 49 * 4.5**2) / 98)
    found = hedges_g(3.0, pooled, inverse_n=2 / 50, df=98)
    assert found.g == pytest.approx(0.5924, abs=5e-5)


def test_the_small_sample_factor_equals_hedges_approximation_where_that_is_good() -> None:
    # J = 1 - 3/(4 df - 1), good to 0.0003 from 10 degrees of freedom on (Hedges 1981)
    for df in (10, 20, 98):
        assert small_sample_correction(df) == pytest.approx(1 - 3 / (4 * df - 1), abs=3.5e-4)
    assert small_sample_correction(4) == pytest.approx(
        math.sqrt(2 / math.pi), abs=1e-12
    )  # gamma(2)/gamma(1.5)/sqrt 2


@pytest.mark.parametrize(("t", "df"), [(2.83, 126), (0.4, 4), (-1.7, 9), (6.0, 8)])
def test_at_either_end_of_the_effects_interval_the_effect_seen_is_one_of_2_5_percent(
    t: float, df: int
) -> None:
    """By scipy's noncentral t distribution, 1/n1 + 1/n2 = 1."""
    low, high = np.array(hedges_g(t, 1.0, inverse_n=1.0, df=df).interval) / small_sample_correction(df)
    assert stats.nct.sf(t, df, low) == pytest.approx(0.025, abs=1e-5)
    assert stats.nct.cdf(t, df, high) == pytest.approx(0.025, abs=1e-5)


def test_the_effect_interval_covers_the_truth_with_three_strokes(generator: np.random.Generator) -> None:
    covered, lessons = 0, 1500
    correction = small_sample_correction(4)
    for _ in range(lessons):
        first, second = generator.normal(0, 1, 3), generator.normal(2, 1, 3)
        sd = math.sqrt((first.var(ddof=1) + second.var(ddof=1)) / 2)
        low, high = hedges_g(float(second.mean() - first.mean()), sd, inverse_n=2 / 3, df=4).interval
        covered += low / correction <= 2 <= high / correction
    assert covered / lessons == pytest.approx(0.95, abs=0.017)  # three binomial standard errors


def test_swapping_the_conditions_turns_the_effect_round() -> None:
    there, back = (hedges_g(d, 1.0, inverse_n=2 / 3, df=4) for d in (2.5, -2.5))
    assert back.g == -there.g
    assert back.interval == pytest.approx((-there.interval[1], -there.interval[0]))


def test_no_scatter_gives_no_effect_size() -> None:
    assert math.isnan(hedges_g(1.0, 0.0, inverse_n=2 / 3, df=4).g)


def test_what_all_strokes_share_widens_the_interval_of_their_mean() -> None:
    """Alone it spans 1.96 of its deviations to either side; with scatter both add as squares."""
    alike, spread = ([Estimate(each, 0.1) for each in values] for values in ((2.0,) * 4, (1.9, 2.0, 2.1)))
    low, high = scatter(alike, shared_sd=0.05).mean_interval
    assert (low, high) == pytest.approx((2 - 1.96 * 0.05, 2 + 1.96 * 0.05), abs=1e-5)
    own, both = (np.ptp(scatter(spread, shared_sd=each).mean_interval) / 2 for each in (0.0, 0.05))
    assert both == pytest.approx(math.hypot(own, 1.96 * 0.05), abs=1e-5)


def test_measurement_error_is_taken_out_of_the_scatter() -> None:
    """Values 1, 3, 5 have variance 4; errors of variance 3 leave a variance of 1 to the student."""
    found = scatter([Estimate(v, math.sqrt(3)) for v in (1.0, 3.0, 5.0)])
    assert (found.sd, found.measurement_sd, found.own_sd) == pytest.approx((2, math.sqrt(3), 1))


def test_scatter_below_the_measurement_error_is_zero_and_may_be_more() -> None:
    found = scatter([Estimate(v, 2.0) for v in (1.0, 2.0, 3.0)])
    assert found.own_sd == 0
    assert found.own_sd_interval[0] == 0
    # chi-squared(0.025; 2) = 0.05064 (any table): total variance up to 2/0.05064 = 39.5
    assert found.own_sd_interval[1] == pytest.approx(math.sqrt(2 / 0.050636 - 4), rel=1e-4)


def test_one_stroke_has_a_mean_and_no_scatter() -> None:
    found = scatter([Estimate(2.0, 0.1), Estimate.missing()])
    assert (found.strokes, found.mean) == (1, 2.0)
    assert math.isnan(found.sd)
    assert math.isnan(found.own_sd)


@pytest.mark.parametrize(("strokes", "own"), [(3, 0.5), (5, 0.5), (10, 0.2)])
def test_the_interval_of_the_own_scatter_covers_the_truth(
    generator: np.random.Generator, strokes: int, own: float
) -> None:
    covered, lessons = 0, 2000
    for _ in range(lessons):
        values = generator.normal(0, own, strokes) + generator.normal(0, 0.3, strokes)
        low, high = scatter([Estimate(v, 0.3) for v in values.tolist()]).own_sd_interval
        covered += low <= own <= high
    assert covered / lessons == pytest.approx(0.95, abs=0.015)  # three binomial standard errors


@pytest.mark.parametrize(("effect", "needed"), [(0.5, 64), (0.8, 26), (1.2, 12), (2.0, 6)])
def test_strokes_for_a_power_of_80_percent_equal_the_published_tables(effect: float, needed: int) -> None:
    """Cohen (1992), Psychol. Bull. 112:155-159, table 2: 64 and 26 a group for medium and large effects."""
    exactly = TTestIndPower().solve_power(effect_size=effect, alpha=0.05, power=0.8)  # statsmodels
    assert math.ceil(exactly) == needed
    assert strokes_for_power(effect, 1.0, level=0.05, power=0.8, lengths=1) == needed


def test_power_is_what_simulation_finds(generator: np.random.Generator) -> None:
    first, second = generator.normal(0, 1, (4000, 5)), generator.normal(1.5, 1, (4000, 5))
    found = np.mean(stats.ttest_ind(second, first, axis=1).pvalue < 0.05)
    assert power_of(1.5, 1.0, strokes=5, level=0.05, lengths=1) == pytest.approx(found, abs=0.025)


def test_no_number_of_strokes_shows_a_change_far_below_the_scatter() -> None:
    assert strokes_for_power(0.01, 1.0, level=0.05, power=0.8, lengths=1) == math.inf
    assert math.isnan(strokes_for_power(0.01, math.nan, level=0.05, power=0.8, lengths=1))


@pytest.mark.parametrize(("lengths", "needed"), [(1, 4), (2, 3)])
def test_a_single_putt_length_needs_a_fourth_stroke_before_anything_can_be_claimed(
    lengths: int, needed: int
) -> None:
    assert strokes_for_permutation(0.04, lengths, fewest=3) == needed


@given(
    shift=hypothesis_st.floats(-100, 100),
    factor=hypothesis_st.floats(0.01, 100),
    seed=hypothesis_st.integers(0, 1000),
)
@settings(max_examples=30, deadline=None)
def test_another_unit_or_origin_changes_no_verdict(shift: float, factor: float, seed: int) -> None:
    generator = np.random.default_rng(seed)
    values = generator.standard_normal((8, 2))
    sds, stratum = np.full((8, 2), 0.1), np.repeat([6.0, 12.0], 4)
    labels = np.array([[True, True, False, False] * 2, [True, False] * 4])
    here = stratified_difference(values, sds, stratum, labels)
    there = stratified_difference(shift + factor * values, factor * sds, stratum, labels)
    np.testing.assert_allclose(there.difference, factor * here.difference, rtol=1e-6, atol=1e-9 * factor)
    np.testing.assert_allclose(there.t, here.t, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(there.df, here.df, rtol=1e-6)


def test_a_versions_mean_over_two_lengths_has_the_half_width_of_its_scatter(
    generator: np.random.Generator,
) -> None:
    """Of 1.0, 1.2 and 2.0, 2.4 the mean of means is 1.65.

    Variances 0.02 and 0.08 of two strokes each: (0.01 + 0.04) / 4. Student's t at 97.5 % with 2 degrees of
    freedom is 4.303 (any t table), so the half-width is 4.303 x 0.1118 = 0.481.
    """
    (one,) = drawn_lesson(generator, {"x": Habit()}, strokes=1, lengths_m=(3.66,))["x"][3.66]

    def of(seconds: float) -> StrokeMeasures:
        return dataclasses.replace(one, backswing_s=Estimate(seconds, 0.001))

    strokes = {"x": {1.83: [of(1.0), of(1.2)], 3.66: [of(2.0), of(2.4)]}}
    rules = standard_rules()
    (found,) = condition_means(stroke_table(strokes, rules.quantities), rules)
    mean = found.means["backswing_s"]
    assert mean.value == pytest.approx(1.65)
    assert 1.96 * mean.sd == pytest.approx(0.481, abs=0.001)
    assert (found.strokes, found.putt_lengths_m) == (4, (1.83, 3.66))
