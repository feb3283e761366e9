"""The whole claim procedure on simulated lessons: how often it cries wolf, and what it sees."""

from __future__ import annotations

import dataclasses
import sys

import numpy as np
import pytest

from pennyfall.kinematics.lesson.comparison import PairComparison, compare_pair
from pennyfall.kinematics.lesson.rules import standard_rules
from pennyfall.kinematics.lesson.stroke_table import stroke_table
from tests.kinematics.lesson_strokes import Habit, drawn_lesson

RULES = standard_rules()
PUSH = "acceleration_before_impact_mps2"


def _compared(
    generator: np.random.Generator,
    second: Habit,
    *,
    strokes: int,
    lengths_m: tuple[float, ...] = (1.83, 3.66),
    scatter: float = 1.0,
    heavy_tails: bool = False,
    profiles: bool = True,
) -> PairComparison:
    lesson = drawn_lesson(
        generator,
        {"first": Habit(), "second": second},
        strokes=strokes,
        lengths_m=lengths_m,
        scatter=scatter,
        heavy_tails=heavy_tails,
    )
    table = stroke_table(lesson, RULES.quantities)
    if not profiles:  # they cost most of the time and have no say in the claims about quantities
        nothing = np.full_like(table.acceleration_mps2, np.nan)
        table = dataclasses.replace(table, acceleration_mps2=nothing, acceleration_sd_mps2=nothing)
    seed = int(generator.integers(1 << 31))
    return compare_pair(table, "first", "second", rules=RULES, pairs=1, seed=seed, draws=499)


def _any_claim(pair: PairComparison) -> bool:
    of_profile = pair.profile is not None and pair.profile.claimed
    return of_profile or any(each.claimed for each in pair.quantities)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("strokes", "lengths_m", "heavy_tails"),
    [(3, (1.83, 3.66), False), (5, (3.66,), True)],
    ids=["3 v 3 at two lengths, normal", "5 v 5 at one length, heavy tails"],
)
def test_two_thousand_lessons_without_a_difference_claim_one_in_fewer_than_6_percent(
    generator: np.random.Generator,
    strokes: int,
    lengths_m: tuple[float, ...],
    heavy_tails: bool,
    capsys: pytest.CaptureFixture[str],
) -> None:
    lessons = 2000
    alarms = sum(
        _any_claim(
            _compared(generator, Habit(), strokes=strokes, lengths_m=lengths_m, heavy_tails=heavy_tails)
        )
        for _ in range(lessons)
    )
    with capsys.disabled():
        sys.stdout.write(f"\n{strokes} v {strokes}: {alarms} of {lessons} null lessons made any claim\n")
    assert alarms / lessons < 0.06
    assert alarms > 0  # a procedure that never claims anything would pass the line above


@pytest.mark.slow
def test_power_grows_with_strokes_and_is_printed(
    generator: np.random.Generator, capsys: pytest.CaptureFixture[str]
) -> None:
    """Share of 150 lessons at two putt lengths that claim a change of acceleration before impact.

    Sizes in units of the spread between strokes, about 0.6 m/s^2 with the measurement error.
    """
    lessons = 150
    changes = (0.5, 1.0, 2.0)
    power: dict[tuple[int, float], float] = {}
    for strokes in (3, 5, 10):
        for change in changes:
            second = Habit(acceleration_at_impact_mps2=Habit().acceleration_at_impact_mps2 + change)
            power[strokes, change] = float(
                np.mean([_compared(generator, second, strokes=strokes, profiles=False).quantity(PUSH).claimed
                         for _ in range(lessons)])
            )  # fmt: skip
    with capsys.disabled():
        sys.stdout.write(
            "\nstrokes a condition and length | " + " | ".join(f"{c} m/s^2" for c in changes) + "\n"
        )
        for strokes in (3, 5, 10):
            row = " | ".join(f"{power[strokes, change]:7.2f}" for change in changes)
            sys.stdout.write(f"{strokes:30d} | {row}\n")
    for change in changes:
        assert power[3, change] <= power[5, change] + 0.1
        assert power[5, change] <= power[10, change] + 0.1
    assert power[10, 1.0] > 0.9
    assert power[3, 2.0] > 0.8


def test_a_quick_round_of_null_lessons_stays_near_its_level(generator: np.random.Generator) -> None:
    """300 lessons: 5 % is 15, and three binomial standard errors above it 26."""
    alarms = sum(_any_claim(_compared(generator, Habit(), strokes=3)) for _ in range(300))
    assert alarms <= 26


@pytest.mark.slow
def test_the_interval_of_a_difference_covers_the_truth(generator: np.random.Generator) -> None:
    second = Habit(acceleration_at_impact_mps2=Habit().acceleration_at_impact_mps2 + 1.0)
    lessons = 600
    covered = 0
    for _ in range(lessons):
        low, high = (
            _compared(generator, second, strokes=3, profiles=False)
            .quantity("acceleration_at_impact_mps2")
            .pooled.interval
        )
        covered += low <= 1.0 <= high
    assert covered / lessons == pytest.approx(0.95, abs=0.027)  # three binomial standard errors


@pytest.mark.slow
def test_a_real_change_of_one_quantity_raises_no_alarm_in_the_others(generator: np.random.Generator) -> None:
    """400 lessons in which only the place of the peak moves: 5 % is 20, three standard errors above it 33."""
    moved = Habit(peak_acceleration_share=0.92)
    alarms = 0
    for _ in range(400):
        pair = _compared(generator, moved, strokes=3, profiles=False)
        alarms += any(
            each.claimed for each in pair.quantities if each.quantity.name != "peak_acceleration_share"
        )
    assert alarms <= 33
