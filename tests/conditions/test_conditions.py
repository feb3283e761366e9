"""Everything that coaches film either measures with honest intervals or is refused with a way out."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.conditions.cases import CASES, Case
from tests.conditions.outcome import MAIN, Outcome, fewest_inside, film_and_measure, table, tally, z_score

LARGEST_Z = 4.0
"""About 600 intervals are looked at: by chance one in twenty-five such runs has a |z| of 4."""

CHEAP = ("mirrored",)
"""Cases of so few frames that every run can afford them."""


@pytest.fixture(scope="module")
def outcome_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Case], Outcome]:
    """Return a function that films and measures a case when it is first asked for, and remembers it."""
    known: dict[str, Outcome] = {}

    def outcome(case: Case) -> Outcome:
        if case.name not in known:
            known[case.name] = film_and_measure(case, tmp_path_factory.mktemp("condition"))
        return known[case.name]

    return outcome


@pytest.mark.clip
@pytest.mark.parametrize(
    "case",
    [
        pytest.param(each, id=each.name, marks=() if each.name in CHEAP else pytest.mark.slow)
        for each in CASES
    ],
)
def test_a_condition_is_measured_honestly_or_refused_with_a_remedy(
    case: Case, outcome_of: Callable[[Case], Outcome]
) -> None:
    outcome = outcome_of(case)
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
    outcome_of: Callable[[Case], Outcome], capsys: pytest.CaptureFixture[str]
) -> None:
    outcomes = [outcome_of(each) for each in CASES]  # of every case, whichever of the tests above ran
    with capsys.disabled():
        print("\n" + table(outcomes))  # noqa: T201
    counts = tally(outcomes, MAIN)
    with capsys.disabled():
        print("\n" + "\n".join(f"{name:<36}{a:4} of {n}" for name, (a, n) in counts.items()))  # noqa: T201
    short = {name: pair for name, pair in counts.items() if pair[0] < fewest_inside(pair[1])}
    assert not short
