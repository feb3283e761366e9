"""Whether a change lasted: each condition over the lessons, against the smallest change worth believing."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pennyfall.cli.files.putt_length import length_words
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.power import minimal_detectable_change
from pennyfall.kinematics.lesson.rules import COMPARABLE
from pennyfall.kinematics.lesson.scatter import Scatter, scatter
from pennyfall.kinematics.lesson.set_ups import is_scaled
from pennyfall.kinematics.values import Estimate

FOLLOWED = (
    "acceleration_before_impact_mps2",
    "peak_acceleration_share",
    "peak_acceleration_mps2",
    "tempo_ratio",
    "impact_speed_mps",
)
"""Followed where nothing else is asked for: what recommendations rest on, and the stroke's size."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TrendPoint:
    """One quantity in one lesson."""

    date: dt.date
    scatter: Scatter
    """Mean and spread over the strokes of the lesson."""
    scale_sd: float
    """Standard deviation that the lesson's scale gives the mean, SI; 0 for times and ratios."""
    scale_sources: tuple[str, ...]
    """What that scale rests on; empty where it was not noted."""
    detectable_change: float
    """Smallest difference from the first lesson that is more than scatter, SI; NaN where not knowable."""

    def change_from(self, first: TrendPoint) -> float:
        """Return the difference of the means, SI."""
        return self.scatter.mean - first.scatter.mean


@dataclass(frozen=True, kw_only=True, slots=True)
class Trend:
    """One quantity of one condition at one putt length, over the lessons in order of date."""

    condition: str
    putt_ft: float
    quantity: str
    """Field of `StrokeMeasures`."""
    points: tuple[TrendPoint, ...]

    @property
    def title(self) -> str:
        """Condition and putt length, as in 'coin let go, 12 ft'."""
        return f"{self.condition}, {length_words(self.putt_ft)}"


def followable(quantities: Sequence[str]) -> Sequence[str]:
    """Return the quantities, when all of them can be followed.

    Raises
    ------
    CannotMeasure
        When one is not a quantity of a stroke.

    """
    for name in quantities:
        if name not in COMPARABLE:
            raise CannotMeasure(
                f"'{name}' is no quantity that can be followed.",
                fix=f"Known are: {', '.join(sorted(COMPARABLE))}.",
            )
    return quantities


def trends(strokes: pd.DataFrame, quantities: Sequence[str]) -> tuple[Trend, ...]:
    """Return the trend of each quantity in each condition that has it.

    Parameters
    ----------
    strokes : DataFrame
        One row a quantity of a stroke, as from `strokes_long`, of one student.
    quantities : sequence of str
        Which to follow, in the order wanted.

    Notes
    -----
    The scatter of one stroke about its lesson's mean is pooled over the lessons (each weighted by its degrees
    of freedom), so that later lessons sharpen the band. Means of n1 and n2 strokes differ by scatter alone
    with variance s^2 (1/n1 + 1/n2), which is that of two equal groups of the harmonic mean of n1 and n2. A
    lesson's scatter is never taken for less than its measurement error: strokes that happen to agree better
    than they can be measured are no evidence. The scales of two lessons are two: their errors are common to
    each lesson's strokes, and come on top.

    """
    found = []
    for quantity in quantities:
        rows = strokes[strokes["quantity"] == quantity]
        lengths = rows["putt_ft"].round(2)  # older lessons kept no more digits
        for (condition, _), group in rows.groupby(["condition", lengths], sort=False):
            by_lesson = [
                _lesson_of(dt.date.fromisoformat(str(date)), quantity, lesson)
                for (date, _folder), lesson in group.groupby(["date", "folder"], sort=True)
            ]
            found.append(
                Trend(
                    condition=str(condition),
                    putt_ft=float(group["putt_ft"].iloc[-1]),
                    quantity=quantity,
                    points=_points(by_lesson),
                )
            )
    return tuple(found)


def _lesson_of(date: dt.date, quantity: str, rows: pd.DataFrame) -> TrendPoint:
    """Return a lesson's point in a trend, not yet set against the first."""
    scaled = is_scaled([quantity])[0]
    shared = (rows["scale_rel_sd"] * rows["value"]) ** 2 if scaled else 0.0
    own_sds = (rows["sd"] ** 2 - shared).clip(lower=0.0) ** 0.5
    estimates = [Estimate(float(value), float(sd)) for value, sd in zip(rows["value"], own_sds, strict=True)]
    rel_sd = math.sqrt(float((rows["scale_rel_sd"] ** 2).mean())) if scaled else 0.0
    mean = float(rows["value"].mean())
    spread = scatter(estimates, shared_sd=rel_sd * abs(mean))
    return TrendPoint(
        date=date,
        scatter=spread,
        scale_sd=rel_sd * abs(spread.mean),
        scale_sources=tuple(sorted({str(each) for each in rows["scale_source"] if each})),
        detectable_change=math.nan,
    )


def _points(lessons: Sequence[TrendPoint]) -> tuple[TrendPoint, ...]:
    """Return the lessons with the change from the first that each can show."""
    repeated = [each.scatter for each in lessons if each.scatter.strokes > 1]
    df = sum(each.strokes - 1 for each in repeated)
    if not df:
        return tuple(lessons)
    variances = [max(each.sd, each.measurement_sd) ** 2 for each in repeated]
    sem = math.sqrt(sum((each.strokes - 1) * one for each, one in zip(repeated, variances, strict=True)) / df)
    first = lessons[0]
    return tuple(
        replace(
            each,
            detectable_change=minimal_detectable_change(
                sem,
                strokes=2 / (1 / first.scatter.strokes + 1 / each.scatter.strokes),
                df=df,
                shared_sd=math.hypot(first.scale_sd, each.scale_sd) / math.sqrt(2),
            ),
        )
        for each in lessons
    )
