"""What a student's earlier lessons say, for the report of a later one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from pennyfall.cli.files.lesson_file import Lesson
from pennyfall.cli.history.trend import FOLLOWED, Trend, TrendPoint, trends
from pennyfall.cli.history.trend_table import day, judgement, scale_sentences
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.tables.written import Row, Table, Told
from pennyfall.cli.report.words.numbers import capital, listed, shown, typeset

LATEST = 3
"""Chosen by us: the first lesson and so many of the latest fit beside each other on paper."""
BETWEEN = "–"


def earlier_lessons(strokes: pd.DataFrame, folder: Path, lesson: Lesson) -> Told | None:
    """Return what has become of each condition since the student's first lesson; None where this is it.

    Parameters
    ----------
    strokes : DataFrame
        One row a quantity of a stroke, as from `strokes_long`, of the student, this lesson's among them.
    folder : Path
        This lesson's folder.
    lesson : Lesson
        This lesson.

    """
    date = lesson.date.isoformat()
    known = strokes[(strokes["date"] < date) | (strokes["folder"] == str(folder.resolve()))]
    before = sorted({dt.date.fromisoformat(str(each)) for each in known["date"]} - {lesson.date})
    if not before:
        return None
    followed = [
        each
        for each in trends(known, FOLLOWED)
        if len(each.points) > 1 and each.points[-1].date == lesson.date
    ]
    if not followed:
        dates = listed([day(each) for each in before])
        nothing = f"On {dates} no version was filmed at a putt length of this lesson: nothing to compare."
        return Told(sentences=(typeset(nothing),), tables=())
    changed = [_change(each) for each in followed if _has_changed(each)]
    since = day(min(each.points[0].date for each in followed))
    unchanged = f"Since the first lesson ({since}) nothing looked at has changed by more than scatter."
    return Told(
        sentences=tuple(typeset(each) for each in (changed or [unchanged])),
        tables=tuple(_table(title, followed) for title in dict.fromkeys(each.title for each in followed)),
    )


def _has_changed(trend: Trend) -> bool:
    last = trend.points[-1]
    return abs(last.change_from(trend.points[0])) > last.detectable_change  # never above NaN


def _change(trend: Trend) -> str:
    what, first, last = quantity(trend.quantity), trend.points[0], trend.points[-1]
    then, now = shown(what, first.scatter.mean), shown(what, last.scatter.mean)
    return (
        f"{capital(trend.title)}: {what.label} was {then} on {day(first.date)} and is {now} now, "
        f"{judgement(what, last, first)}."
    )


def _table(title: str, followed: Sequence[Trend]) -> Table:
    """Return one condition's table: a row a quantity, a column a lesson, and what the change amounts to."""
    of_it = [each for each in followed if each.title == title]
    lessons = {point.date: point for trend in of_it for point in trend.points}
    dates = sorted(lessons)
    dates = dates if len(dates) <= LATEST + 1 else [dates[0], *dates[-LATEST:]]
    left_out = len(lessons) - len(dates)
    notes = [
        "Mean of each lesson's strokes. A filled mark: since the first lesson it has changed by more than "
        "scatter.",
        *([f"{left_out} lesson{'s' if left_out > 1 else ''} between them left out."] if left_out else []),
        *scale_sentences(of_it),
    ]
    return Table(
        title=title,
        columns=(*(_head(lessons[each]) for each in dates), "against the first lesson"),
        rows=tuple(_row(each, dates) for each in of_it),
        note=typeset(" ".join(notes)),
    )


def _head(point: TrendPoint) -> str:
    count = point.scatter.strokes
    return f"{day(point.date)} ({count} stroke{'s' if count > 1 else ''})"


def _row(trend: Trend, dates: Sequence[dt.date]) -> Row:
    what = quantity(trend.quantity)
    points = {point.date: point for point in trend.points}
    means = [shown(what, points[each].scatter.mean) if each in points else BETWEEN for each in dates]
    return Row(
        label=capital(what.label),
        cells=(*map(typeset, means), typeset(judgement(what, trend.points[-1], trend.points[0]))),
        marked=_has_changed(trend),
    )
