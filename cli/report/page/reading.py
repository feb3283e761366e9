"""What the statistics make of a measured lesson."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.condition_summary import (
    ConditionMean,
    ConditionSummary,
    condition_means,
    condition_summary,
)
from pennyfall.kinematics.lesson.reference_bands import ReferenceBand, standard_reference_bands
from pennyfall.kinematics.lesson.rules import Rules, standard_rules
from pennyfall.kinematics.lesson.scatter import Spread
from pennyfall.kinematics.lesson.set_ups import SetUp, set_ups_of
from pennyfall.kinematics.lesson.stroke_table import stroke_table
from pennyfall.kinematics.lesson.verdict import LessonComparison, compare_conditions
from pennyfall.kinematics.putt.roll import FOOT_M
from pennyfall.kinematics.values import StrokeMeasures


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LessonReading:
    """The conditions summed up and compared."""

    summaries: tuple[ConditionSummary, ...]
    comparison: LessonComparison | None
    """None when there is nothing to compare."""
    means: tuple[ConditionMean, ...] = ()
    """Each version over the putt lengths that all share."""
    why_not: str = ""
    """Why there is no comparison, and what to do, in sentences."""
    earlier: Mapping[str, Spread] = field(default_factory=dict)
    """How much the student's strokes varied in earlier lessons, by quantity."""


def read_lesson_result(
    result: LessonResult,
    *,
    rules: Rules | None = None,
    bands: tuple[ReferenceBand, ...] | None = None,
    earlier: Mapping[str, Spread] | None = None,
) -> LessonReading:
    """Compare the conditions of a lesson that have strokes; with fewer than two, sum up what there is.

    Rules and bands are those that come with the package unless the coach's own are given. `earlier` is how
    much the student's strokes varied in earlier lessons, by quantity.
    """
    strokes = strokes_by_condition(result)
    set_ups = set_ups_by_condition(result)
    rules = standard_rules() if rules is None else rules
    bands = standard_reference_bands() if bands is None else bands
    earlier = earlier or {}
    table = stroke_table(strokes, rules.quantities, set_ups)
    means = condition_means(table, rules)
    try:
        comparison = compare_conditions(strokes, rules=rules, bands=bands, set_ups=set_ups, earlier=earlier)
    except CannotMeasure as error:
        summaries = tuple(
            condition_summary(table, name, length, rules, bands)
            for name in strokes
            for length in table.lengths_m(name)
        )
        why_not = f"{error.message} {error.fix}"
        return LessonReading(
            summaries=summaries, comparison=None, means=means, why_not=why_not, earlier=earlier
        )
    return LessonReading(summaries=comparison.summaries, comparison=comparison, means=means, earlier=earlier)


def strokes_by_condition(result: LessonResult) -> dict[str, dict[float, list[StrokeMeasures]]]:
    """Return the strokes by condition and putt length [m]; conditions without any stroke are left out."""
    found: dict[str, dict[float, list[StrokeMeasures]]] = {}
    for measured in result.conditions:
        if measured.strokes:
            lengths = found.setdefault(measured.condition.name, {})
            lengths[measured.condition.putt_ft * FOOT_M] = [each.measures for each in measured.strokes]
    return found


def set_ups_by_condition(result: LessonResult) -> dict[str, dict[float, list[SetUp]]]:
    """Return the set-up of each stroke, in the order of `strokes_by_condition`."""
    strokes = [stroke for measured in result.conditions for stroke in measured.strokes]
    numbered = iter(set_ups_of([each.calibration for each in strokes]))
    found: dict[str, dict[float, list[SetUp]]] = {}
    for measured in result.conditions:
        if measured.strokes:
            lengths = found.setdefault(measured.condition.name, {})
            lengths[measured.condition.putt_ft * FOOT_M] = [next(numbered) for _ in measured.strokes]
    return found
