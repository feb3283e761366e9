"""Everything that coaches film either measures with honest intervals or is refused with a way out."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conditions.cases import CASES, Case
from tests.conditions.outcome import MAIN, Outcome, fewest_inside, film_and_measure, table, tally, z_score

LARGEST_Z = 4.0
"""About 600 intervals are looked at: by chance one in twenty-five such runs has a |z| of 4."""

CHEAP = ("mirrored", "three tags covered")
"""Cases of so few frames that every run can afford them."""

FEWEST_STROKES = 20
"""Fewer strokes than this, as when a few cases are chosen by hand, say nothing about coverage."""

OUTCOMES: list[Outcome] = []


@pytest.mark.clip
@pytest.mark.parametrize(
    "case",
    [
        pytest.param(each, id=each.name, marks=() if each.name in CHEAP else pytest.mark.slow)
        for each in CASES
    ],
)
def test_a_condition_is_measured_honestly_or_refused_with_a_remedy(case: Case, tmp_path: Path) -> None:
    outcome = film_and_measure(case, tmp_path)
    OUTCOMES.append(outcome)
    if case.refused is not None:
        assert outcome.refusal is not None
        message, fix = case.refused
        assert message in outcome.refusal.message
        assert fix in outcome.refusal.fix
        return
    assert outcome.refusal is None, outcome.refusal
    assert outcome.measurement is not None
    assert len(outcome.measurement.strokes) == len(outcome.strokes)
    assert case.cautions <= {each.code for each in outcome.measurement.warnings}
    for rows in outcome.strokes:
        for row in rows:
            if row.name in MAIN:
                assert row.measured.known or row.name in case.missing | {"ball_speed_mps"}, row.name
                assert abs(z_score(row)) < LARGEST_Z or not row.measured.known, (row.name, row)
    for name, least_sd in case.wider.items():
        assert all(row.measured.sd > least_sd for row in outcome.of(name)), name


@pytest.mark.slow
@pytest.mark.clip
def test_over_all_conditions_the_intervals_hold_the_truth_as_often_as_they_say(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with capsys.disabled():
        print("\n" + table(OUTCOMES))  # noqa: T201
    counts = tally(OUTCOMES, MAIN)
    with capsys.disabled():
        print("\n" + "\n".join(f"{name:<36}{a:4} of {n}" for name, (a, n) in counts.items()))  # noqa: T201
    if counts["top_s"][1] < FEWEST_STROKES:
        pytest.skip(f"only {counts['top_s'][1]} strokes were measured")
    short = {name: pair for name, pair in counts.items() if pair[0] < fewest_inside(pair[1])}
    assert not short
