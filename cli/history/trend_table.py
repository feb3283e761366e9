"""Trends in sentences, and students as a table."""

from __future__ import annotations

import datetime as dt
import math
import shutil
from collections.abc import Iterator, Sequence
from textwrap import fill

import pandas as pd

from pennyfall.cli.history.database import RepeatedClips
from pennyfall.cli.history.trend import Trend, TrendPoint
from pennyfall.cli.report.quantities import Quantity, quantity
from pennyfall.cli.report.words.numbers import place, shown, size, typeset
from pennyfall.cli.report.words.scales import UNTOUCHED, reach, rests_on

WIDEST = 100
"""Chosen by us: longer lines are hard to read."""


def trend_table(student: str, trends: Sequence[Trend], repeated: Sequence[RepeatedClips] = ()) -> str:
    """Return a block a quantity, a sentence a lesson: the mean, and what the change since the first means.

    Above it the clips that count in two lessons, below it what scales rest on where that is not the sheet.
    """
    lines = [
        _wrapped(
            f"{student}: each lesson's mean, and whether it differs from the first by more than scatter."
        )
    ]
    lines += [_wrapped(_said_twice(each)) for each in repeated]
    for name in dict.fromkeys(each.quantity for each in trends):
        lines += ["", quantity(name).heading]
        for trend in (each for each in trends if each.quantity == name):
            lines.append(f"  {trend.title}")
            lines += [_wrapped(trend_sentence(trend, point), "    ") for point in trend.points]
    scales = [_wrapped(each) for each in scale_sentences(trends)]
    return "\n".join([*lines, *([""] if scales else []), *scales])


def students_table(students: pd.DataFrame) -> str:
    """Return a line a student."""
    if students.empty:
        return "The history is empty."
    lines = [f"{'student':<12} {'lessons':>7} {'strokes':>7}  first       last"]
    lines += [
        f"{row.student:<12} {row.lessons:>7} {row.strokes:>7}  {row.first}  {row.last}"
        for row in students.itertuples()
    ]
    return "\n".join(lines)


def judgement(what: Quantity, point: TrendPoint, first: TrendPoint) -> str:
    """Return what a change since the first lesson amounts to."""
    change, least = point.change_from(first), size(what, point.detectable_change)
    up, down = ("later", "earlier") if what.place_of else ("higher", "lower")
    by = f"{size(what, change)} {up if change > 0 else down}"
    if math.isnan(point.detectable_change):
        return f"{by}, too few strokes to tell from scatter"
    if abs(change) > point.detectable_change:
        return f"{by}, changed: scatter makes {least} at most"
    return f"{'no different' if by.startswith('under') else by}, within scatter ({least})"


def trend_sentence(trend: Trend, point: TrendPoint) -> str:
    """Return what a lesson says of a trend: its mean, and the change since the first."""
    what, first, spread = quantity(trend.quantity), trend.points[0], point.scatter
    where = f", {place(spread.mean).removesuffix(' of the forward swing')}" if what.place_of else ""
    strokes = f"{spread.strokes} stroke{'s' if spread.strokes > 1 else ''}"
    own = f", own scatter {size(what, spread.own_sd)}" if spread.own_sd > 0 else ""
    change = "" if point is first else f"; {judgement(what, point, first)}"
    return f"{day(point.date)}: {shown(what, spread.mean)}{where} ({strokes}{own}){change}."


def _said_twice(each: RepeatedClips) -> str:
    clips = "1 clip counts" if each.clips == 1 else f"{each.clips} clips count"
    return (
        f"{clips} twice: on {day(each.first_date)} ({each.first_folder}) and on {day(each.second_date)} "
        f"({each.second_folder}) they are the same. Take them out of the lesson where they do not belong "
        "and run it again."
    )


def scale_sentences(trends: Sequence[Trend]) -> Iterator[str]:
    """Say of each lesson whose scale rests on more than the sheet how well it is known."""
    vague: dict[dt.date, TrendPoint] = {}
    for point in (each for trend in trends for each in trend.points if each.scale_sd > 0):
        if set(point.scale_sources) - {"sheet"}:
            vague.setdefault(point.date, point)
    for date, point in sorted(vague.items()):
        yield (
            f"On {day(date)} the scale rests on {rests_on(point.scale_sources)}, known to "
            f"{reach(point.scale_sd / abs(point.scatter.mean))}: lengths, speeds and accelerations are "
            f"compared with other lessons no better than that; {UNTOUCHED}."
        )


def day(date: dt.date) -> str:
    """Return a date in words."""
    return f"{date.day} {date:%B %Y}"


def _wrapped(text: str, indent: str = "") -> str:
    columns = min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns)
    return fill(
        typeset(text),
        columns,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
