"""Agreement of repeated strokes against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.reliability import (
    intraclass_correlations,
    mean_squares,
    minimal_detectable_change,
    standard_error_of_measurement,
    typical_error,
)
from pennyfall.kinematics.values import FloatArray


@pytest.fixture
def judges() -> FloatArray:
    """Six targets rated by four judges: Shrout and Fleiss (1979), Psychol. Bull. 86:420-428, table 2."""
    return np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7.0]])


@pytest.fixture
def trials() -> FloatArray:
    """Two trials of eight subjects: Weir (2005), J. Strength Cond. Res. 19:231-240, data set A."""
    return np.array(
        [[146, 140], [148, 152], [170, 152], [90, 99], [157, 145], [156, 153], [176, 167], [205, 218.0]]
    )


@pytest.mark.parametrize(
    ("form", "published"),
    [
        ("ICC(1,1)", 0.17),
        ("ICC(2,1)", 0.29),
        ("ICC(3,1)", 0.71),
        ("ICC(1,k)", 0.44),
        ("ICC(2,k)", 0.62),
        ("ICC(3,k)", 0.91),
    ],
)
def test_the_six_forms_equal_the_published_table(judges: FloatArray, form: str, published: float) -> None:
    # Shrout and Fleiss (1979), table 4, printed to two decimals
    assert intraclass_correlations(judges)[form].value == pytest.approx(published, abs=0.005)


def test_the_mean_squares_equal_the_published_analysis_of_variance(judges: FloatArray) -> None:
    # Shrout and Fleiss (1979), table 3: 11.24, 6.26, 32.49, 1.02
    ms = mean_squares(judges)
    assert [ms.rows, ms.within, ms.columns, ms.error] == pytest.approx([11.24, 6.26, 32.49, 1.02], abs=0.005)


@pytest.mark.parametrize(
    ("form", "low", "high"),
    [
        ("ICC(1,1)", -0.13, 0.72),
        ("ICC(2,1)", 0.02, 0.76),
        ("ICC(3,1)", 0.34, 0.95),
        ("ICC(1,k)", -0.88, 0.91),
        ("ICC(2,k)", 0.07, 0.93),
        ("ICC(3,k)", 0.68, 0.99),
    ],
)
def test_the_intervals_are_those_commonly_printed_for_this_table(
    judges: FloatArray, form: str, low: float, high: float
) -> None:
    # the output of R's psych::ICC on this table, recalled from memory, two decimals
    found = intraclass_correlations(judges)[form]
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.006)


@pytest.mark.parametrize("form", ["ICC(1,1)", "ICC(2,1)", "ICC(3,1)"])
def test_the_interval_of_the_intraclass_correlation_covers_the_truth(
    generator: np.random.Generator, form: str
) -> None:
    """Subjects of variance 4, errors of variance 1, no trial effect: every form estimates 4 / 5."""
    covered = 0
    lessons = 400
    for _ in range(lessons):
        table = 2 * generator.standard_normal((10, 1)) + generator.standard_normal((10, 3))
        found = intraclass_correlations(table)[form]
        covered += found.low <= 0.8 <= found.high
    assert covered / lessons == pytest.approx(0.95, abs=0.033)  # three binomial standard errors


def test_the_standard_error_of_measurement_equals_the_published_one(trials: FloatArray) -> None:
    assert standard_error_of_measurement(trials) == pytest.approx(7.6, abs=0.05)  # Weir (2005), p. 236


def test_the_minimal_difference_is_1_96_root_2_sem(trials: FloatArray) -> None:
    # Weir (2005): MD = SEM x 1.96 x sqrt(2) = 20.9 for data set A
    sem = standard_error_of_measurement(trials)
    assert minimal_detectable_change(sem) == pytest.approx(20.9, abs=0.05)


def test_typical_error_equals_the_standard_error_of_measurement_for_two_trials(trials: FloatArray) -> None:
    # Hopkins (2000), Sports Med. 30:1-15: typical error = sd of the differences over root 2
    assert typical_error(trials[:, 0], trials[:, 1]) == pytest.approx(
        standard_error_of_measurement(trials), rel=1e-12
    )


def test_more_strokes_make_smaller_changes_detectable_by_the_root_of_their_number() -> None:
    assert minimal_detectable_change(1.0, strokes=4) == pytest.approx(minimal_detectable_change(1.0) / 2)


def test_few_degrees_of_freedom_ask_for_a_larger_change() -> None:
    # t(0.975; 4) = 2.776 (any table of Student's t, three decimals, hence 0.0005 root 2)
    assert minimal_detectable_change(1.0, df=4) == pytest.approx(2.776 * 2**0.5, abs=7.1e-4)


@pytest.mark.parametrize("table", [np.ones((1, 4)), np.ones((4, 1)), np.full((3, 3), np.nan)])
def test_a_table_that_cannot_show_agreement_is_refused(table: FloatArray) -> None:
    with pytest.raises(ValueError, match="2 subjects by 2 trials"):
        mean_squares(table)
