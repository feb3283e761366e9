"""The table of beliefs: its probabilities, its page, and that every row is weighed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

import pennyfall.kinematics.stroke.beliefs as beliefs
from pennyfall.kinematics.stroke.beliefs import TABLE, Belief, LogNormal, Normal
from tests.kinematics import beliefs_guide

HOUSE = Path(__file__).resolve().parents[2]


def test_the_answers_to_each_question_are_certain_together() -> None:
    for belief in TABLE:
        assert sum(chance for chance, _ in belief.answers) == pytest.approx(1.0, abs=1e-12), belief.question
        assert all(chance > 0 for chance, _ in belief.answers), belief.question


def test_every_row_stands_in_the_table_and_is_used_by_the_estimator() -> None:
    rows = {name: each for name, each in vars(beliefs).items() if isinstance(each, Belief)}
    assert {id(each) for each in rows.values()} == {id(each) for each in TABLE}
    users = [*(HOUSE / "tracker" / "smoother").glob("*.py"), HOUSE / "kinematics" / "stroke" / "takeaway.py"]
    words = "\n".join(path.read_text(encoding="utf-8").partition("\n\n\n")[2] for path in users)
    assert [name for name in rows if name not in words] == []


def test_a_number_known_to_a_factor_and_one_known_to_a_deviation_have_the_densities_of_the_handbook() -> None:
    """Against scipy.stats.norm, of the logarithm and of the number itself, up to a constant."""
    values = np.array([0.2, 1.0, 3.0])
    factor = LogNormal(median=2.0, log_sd=0.7).log_density(values)
    expected = norm(np.log(2.0), 0.7).logpdf(np.log(values))
    np.testing.assert_allclose(factor - factor[0], expected - expected[0])
    near = Normal(mean=0.5, sd=0.3).log_density(values)
    expected = norm(0.5, 0.3).logpdf(values)
    np.testing.assert_allclose(near - near[0], expected - expected[0])


def test_the_page_of_beliefs_is_that_of_the_table() -> None:
    renew = "renew it with: python -m tests.kinematics.beliefs_guide"
    assert beliefs_guide.GUIDE.read_text(encoding="utf-8") == beliefs_guide.guide(), renew
